"""Whatever a recording holds, the judge answers; and it never says met of noise."""

import json

import numpy as np
import pytest

from bellmouth.learning import judge, packs
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.document import to_json
from bellmouth.pages.judgement import judgement_document
from bellmouth.recording.series import Recording, Series

_SIGNALS = {
    "accelerator_pedal_position_d": ("%", 0.0, 100.0),
    "engine_speed": ("rpm", 0.0, 3000.0),
    "control_module_voltage": ("V", 0.0, 15.0),
    "vehicle_speed": ("km/h", 0.0, 5.0),
    "engine_coolant_temperature": ("degC", 20.0, 110.0),
    "monitor_status": ("bits", 0.0, 2.0**32 - 1),
}


def _noise(rng: np.random.Generator) -> Recording:
    """Levels that jump at random, samples at random, stretches without any."""
    end = float(rng.uniform(0.5, 150.0))
    quiet = [(at, at + float(rng.uniform(0.5, 20.0))) for at in rng.uniform(0.0, end, 3)]
    series = {}
    for name, (unit, low, high) in _SIGNALS.items():
        if rng.random() < 0.25:
            continue
        time = np.unique(np.round(rng.uniform(0.0, end, int(rng.integers(1, 900))), 3))
        for begin, stop in quiet:
            time = time[(time < begin) | (time > stop)]
        if not time.size:
            continue
        jumps = np.sort(rng.uniform(0.0, end, int(rng.integers(1, 40))))
        levels = rng.choice([low, low, high, 0.5 * (low + high)], jumps.size + 1)
        series[name] = Series(name, unit, time, levels[np.searchsorted(jumps, time)])
    if not series:
        series["engine_speed"] = Series("engine_speed", "rpm", np.array([0.0]), np.array([0.0]))
    return Recording(series, "noise", begins_s=float(rng.choice([0.0, 7.5])))


def _marks(rng: np.random.Generator, procedure: Procedure) -> dict[str, object]:
    names = [*procedure.every_event(), *(step.name for step in procedure.steps), "key_on", "press"]
    chosen = rng.choice(names, int(rng.integers(0, 4)), replace=False)
    return {
        str(name): None if rng.random() < 0.2 else [float(at) for at in rng.uniform(0.0, 150.0, 2)]
        for name in chosen
    }


@pytest.mark.parametrize("procedure", packs(), ids=lambda procedure: procedure.name)
def test_noise_is_judged_without_a_fault(procedure: Procedure) -> None:
    rng = np.random.default_rng(procedure.order)
    for _ in range(25):
        judged = judge(_noise(rng), procedure, _marks(rng, procedure))
        assert judged.judgement in ("met", "missed", "cannot tell")
        assert judged.advice
        document = json.loads(to_json(judgement_document(judged)))
        for line in document["steps"]:
            assert line["judgement"] in ("met", "missed", "cannot tell")
            if line["measured"] and line["measured"]["low"] and line["measured"]["high"]:
                assert line["measured"]["low"] <= line["measured"]["high"]


@pytest.mark.parametrize("name", ["P1", "P4"])
def test_noise_never_meets_a_pedal_pattern(name: str) -> None:
    rng = np.random.default_rng(4)
    for _ in range(60):
        assert (
            judge(_noise(rng), name, {"lamp_steady": 60.0, "lamp_blinks": 50.0}).judgement != "met"
        )
