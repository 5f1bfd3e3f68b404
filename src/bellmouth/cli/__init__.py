"""The command line: thin. A command reads, calls one function of a lower floor and renders it.

Exit codes: 0 done, 1 the answer is "no" where a command asks a question, 2 bad input or use.
"""

import os

# The matrices are small: more threads cost more than they give. Before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from bellmouth.cli.group import main

__all__ = ["main"]
