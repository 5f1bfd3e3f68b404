"""What a practice car keeps over runs of the program: learned values, trims and codes, as JSON."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from bellmouth.errors import CarError
from bellmouth.practice.live_engine import LiveEngine

__all__ = ["engine_kept", "read_state", "restore_engine", "write_state"]

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
    idle.learned = np.array([kept["idle_learned"]])
    idle.integral = np.array([kept["idle_feedback_deg"]])
    idle.down_deg = np.array([kept["idle_down_deg"]])
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
        return None
    if path.is_dir():
        raise CarError(f"{path}: is a folder. Name a file that the practice car may keep.")
    try:
        kept = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise CarError(
            f"{path.name}: what the practice car kept cannot be read ({error}). Remove the file."
        ) from error
    if not isinstance(kept, dict) or kept.get("version") != _VERSION:
        raise CarError(f"{path.name}: not kept by a practice car of this version. Remove the file.")
    if kept.get("car") != car:
        raise CarError(
            f"{path.name}: kept by another practice car ({kept.get('car')}, this one is {car}). "
            "Give the same fault, size, seed, variant and car file, or another state file."
        )
    return kept


def write_state(path: Path, car: str, kept: Mapping[str, Any]) -> None:
    """Keep it, whole or not at all."""
    part = path.with_name(path.name + ".part")
    whole = {"version": _VERSION, "car": car, **kept}
    try:
        part.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise CarError(
            f"{path.name}: cannot be written ({error.strerror}). Choose another state file."
        ) from error
