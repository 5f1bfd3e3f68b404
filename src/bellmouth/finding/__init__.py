"""What is wrong, how big, how sure, what next? And (in ``prove``) did the work help?"""

from bellmouth.finding.find import find
from bellmouth.finding.result import Finding

__all__ = ["Finding", "find"]
