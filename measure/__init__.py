"""How good the finding is, measured: simulated and real recordings, speed, agreement.

Not part of the installed package. Each module with a ``main`` runs as ``python -m measure.NAME``.
"""

import os

__all__ = ["DATA", "OUT", "ROOT"]

from pathlib import Path

# Before numpy loads: two processes with one thread each are faster than two with two.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

ROOT = Path(__file__).resolve().parent.parent
#: Real recordings, which are not part of the repository.
DATA = ROOT.parent / "shared" / "data"
#: Caches and tables; not kept.
OUT = ROOT / "out"
