"""What must be done when, and was it? Procedures, judge, coach."""

from bellmouth.learning.judge import judge
from bellmouth.learning.judgement import Judgement
from bellmouth.learning.packs import find_procedure, packs
from bellmouth.learning.plan import plan
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.procedure_reader import read_procedure

__all__ = [
    "Judgement",
    "Procedure",
    "find_procedure",
    "judge",
    "packs",
    "plan",
    "read_procedure",
]
