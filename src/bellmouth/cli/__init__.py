"""The command line: thin. A command reads, calls one function of a lower floor and renders it.

Exit codes: 0 done, 1 the answer is "no" where a command asks a question, 2 bad input or use.
"""

from bellmouth.cli.group import main

__all__ = ["main"]
