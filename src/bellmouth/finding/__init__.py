"""What is wrong, how big, how sure, what next?"""

from bellmouth.finding.find import find
from bellmouth.finding.result import Finding

__all__ = ["Finding", "find"]
