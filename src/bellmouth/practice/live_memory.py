"""What a practice car keeps over runs of the program: learned values, trims and codes, as JSON."""

import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from bellmouth.errors import CarError
from bellmouth.practice.live_engine import LiveEngine
from bellmouth.reading import json_in, text_of

__all__ = ["engine_kept", "not_kept", "read_state", "restore_engine", "write_state"]

_VERSION = 1


def engine_kept(engine: LiveEngine) -> dict[str, Any]:
    """Idle learning and trims, as plain values."""
    idle, fuel = engine.run.idle, engine.run.fuel
    return {
        "idle_learned": float(idle.learned[0]),
        "idle_feedback_deg": float(idle.integral[0]),
        "idle_down_deg": float(idle.down_deg[0]),
        "idle_learn_s": float(np.ravel(idle.learn_s)[0]),
        "trims": fuel.cells.tolist(),
    }


def restore_engine(engine: LiveEngine, kept: Mapping[str, Any]) -> None:
    """Take over idle learning and trims."""
    idle, fuel = engine.run.idle, engine.run.fuel
    idle.learned = np.array([float(kept["idle_learned"])])
    idle.integral = np.array([float(kept["idle_feedback_deg"])])
    idle.down_deg = np.array([float(kept["idle_down_deg"])])
    idle.learn_s = float(kept["idle_learn_s"])
    fuel.cells = np.array(kept["trims"], dtype=np.float64).reshape(fuel.cells.shape)


def read_state(path: Path, car: str) -> Mapping[str, Any] | None:
    """What was kept of this car; None where there is no file yet.

    Raises
    ------
    CarError
        If the file cannot be read, or was kept by another practice car.
    """
    if not path.exists():
        _refuse_unwritable(path)
        return None
    if path.is_dir():
        raise CarError(f"{path}: is a folder. Name a file that the practice car may keep.")
    try:
        kept = json_in(text_of(path))
    except (OSError, ValueError) as error:
        raise _not_kept(path, error) from error
    if not isinstance(kept, dict) or kept.get("version") != _VERSION:
        raise CarError(f"{path.name}: not kept by a practice car of this version. Remove the file.")
    if kept.get("car") != car:
        raise CarError(
            f"{path.name}: kept by another practice car ({kept.get('car')}, this one is {car}). "
            "Give the same fault, size, seed, variant and car file, or another state file."
        )
    return kept


@contextmanager
def not_kept(path: Path) -> Iterator[None]:
    """What a file lacks, or holds in another shape, is said as :class:`CarError`."""
    try:
        yield
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        raise _not_kept(path, error) from error


def _not_kept(path: Path, error: Exception) -> CarError:
    return CarError(
        f"{path.name}: is not what a practice car kept ({_reason(error)}). Remove it, or name "
        "another file."
    )


def write_state(path: Path, car: str, kept: Mapping[str, Any]) -> None:
    """Keep it, whole or not at all."""
    part = path.with_name(path.name + ".part")
    whole = {"version": _VERSION, "car": car, **kept}
    try:
        part.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise CarError(
            f"{path}: cannot be written ({_reason(error)}). Choose another state file."
        ) from error


def _refuse_unwritable(path: Path) -> None:
    """Better said before the car has been driven than after."""
    if not path.parent.is_dir():
        raise CarError(f"{path}: there is no folder {path.parent}. Choose another state file.")
    if not os.access(path.parent, os.W_OK):
        raise CarError(f"{path}: {path.parent} may not be written to. Choose another state file.")


def _reason(error: Exception) -> str:
    if isinstance(error, OSError) and error.strerror:
        return error.strerror.lower()
    if isinstance(error, json.JSONDecodeError):
        return "no JSON"
    return f"{error} is missing" if isinstance(error, KeyError) else str(error)
