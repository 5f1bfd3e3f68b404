"""What a measurement found, kept as JSON for ``python -m measure.performance_page``."""

import json
import os
import platform
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from measure import OUT

__all__ = ["FOLDER", "keep", "kept", "machine"]

FOLDER = OUT / "bench"


def keep(name: str, found: Mapping[str, Any]) -> Path:
    """Write what was found in one run, with the machine it was found on."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    path = FOLDER / f"{name}.json"
    told = {"machine": machine(), **found}
    path.write_text(json.dumps(told, indent=2) + "\n", encoding="utf-8")
    return path


def kept(name: str) -> dict[str, Any] | None:
    """What was found, None where it was not measured."""
    path = FOLDER / f"{name}.json"
    return json.loads(path.read_text(encoding="utf-8")) if path.is_file() else None


def machine() -> dict[str, str]:
    """Processor, cores, memory and Python of this machine."""
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return {
        "processor": _processor(),
        "cores": str(os.cpu_count()),
        "memory": f"{memory:.0f} GiB",
        "python": f"{platform.python_implementation()} {platform.python_version()}",
        "system": f"{platform.system()} {platform.machine()}",
    }


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor() or "unknown"
    names = [line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.processor() or "unknown"
