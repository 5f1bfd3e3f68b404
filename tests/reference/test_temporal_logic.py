"""The judge against a general-purpose monitor of signal temporal logic (rtamt 0.4.10).

Two ways: the published rows (``tables/temporal_logic.csv``: rtamt, each explained by hand, L)
against the margins of conditions and the judgement of a hold; and rtamt itself on the formulae of
simulated attempts, sign always, value within one sample.
"""

import re

import numpy as np
import pytest

from bellmouth.learning import find_procedure, judge
from bellmouth.learning.conditions import worst_margin
from bellmouth.learning.formal import formulae
from bellmouth.learning.judgement import CANNOT_TELL, MET
from bellmouth.learning.procedure import Condition
from bellmouth.learning.procedure_reader import procedure_from_text
from bellmouth.recording.series import Floats, Recording, Series
from measure.monitor import robustness, spans_of_idle_air
from tests.learning.made import idle_air, recorded
from tests.reference.reading import rows

ROWS = rows("temporal_logic")
_ALWAYS = re.compile(r"(always|eventually)\[0,([\d.]+)\]\(\w >= ([\d.]+)\)")


def _discrete() -> list[dict[str, str]]:
    return [row for row in ROWS if row["time"] == "discrete 1 s" and "until" not in row["formula"]]


def _margin(kind: str, least: float, value: Floats) -> float:
    """*Always at least* is a condition; *eventually* is the other limit broken, turned round."""
    counts = np.ones(value.size, dtype=bool)
    if kind == "always":
        return worst_margin(Condition("c", "", least=least), value, counts)[1]
    return -worst_margin(Condition("c", "", most=least), value, counts)[1]


@pytest.mark.parametrize("row", _discrete(), ids=lambda row: f"{row['formula']} at {row['at_s']}")
def test_margins_of_conditions_are_the_published_robustness(row: dict[str, str]) -> None:
    found = _ALWAYS.fullmatch(row["formula"])
    assert found is not None
    kind, reach, least = found[1], int(found[2]), float(found[3])
    signal = np.array(row["signal"].removeprefix("p=").split(), dtype=float)
    at = int(row["at_s"])
    margin = _margin(kind, least, signal[at : at + reach + 1])
    assert margin == pytest.approx(float(row["robustness"]), abs=1e-6)


@pytest.mark.parametrize("row", [row for row in ROWS if row["time"].startswith("dense")])
def test_dense_rows_on_held_values(row: dict[str, str]) -> None:
    """The row names one value for a stretch of times; both its ends and its middle are checked."""
    found = _ALWAYS.fullmatch(row["formula"])
    assert found is not None
    kind, reach, least = found[1], float(found[2]), float(found[3])
    pairs = [
        tuple(map(float, pair)) for pair in re.findall(r"\(([\d.]+),([\d.]+)\)", row["signal"])
    ]
    time = np.array([pair[0] for pair in pairs])
    value = np.array([pair[1] for pair in pairs])
    limits = [float(number) for number in re.findall(r"[\d.]+", row["at_s"])]
    begin, end = (limits[0], time[-1] - reach) if "from" in row["at_s"] else limits
    for at in (begin, 0.5 * (begin + end), end - 1e-6):
        first = int(np.searchsorted(time, at, side="right")) - 1
        last = int(np.searchsorted(time, at + reach, side="right"))
        margin = _margin(kind, least, value[first:last])
        assert margin == pytest.approx(float(row["robustness"]), abs=1e-6), at


_HOLD = (
    'name = "hold"\ntitle = "Hold"\nsource = "the row\'s formula"\n'
    '[[step]]\nname = "hold"\nwho = "pedal"\ndo = "press"\nsay = "Hold"\n'
    'until = { event = "lamp_steady", timeout_s = 10 }\n'
)


def test_the_until_row_has_the_sign_of_the_judge() -> None:
    (row,) = [row for row in ROWS if "until" in row["formula"]]
    pedal, lamp = (
        np.array(part.split("=")[1].split(), dtype=float) for part in row["signal"].split(";")
    )
    time = np.arange(pedal.size, dtype=float)
    # Between the row's samples the pedal is where it was; the judge wants them closer together.
    fine = np.arange(-2.0, time[-1] + 0.05, 0.1)
    held = np.where(fine < 0, 10.0, pedal[np.clip(np.floor(fine + 1e-9), 0, None).astype(int)])
    series = Series("accelerator_pedal_position_d", "%", fine + 2.0, held)
    recording = Recording({series.name: series}, "row")
    on = float(time[np.argmax(lamp >= 0.5)]) + 2.0
    judged = judge(recording, procedure_from_text(_HOLD), {"lamp_steady": {"at": on, "give": 0.05}})
    assert float(row["robustness"]) > 0
    assert judged.judgement == MET


@pytest.mark.reference
@pytest.mark.parametrize("seed", range(8))
def test_margins_agree_with_the_monitor(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rate_hz = float(rng.choice([8.0, 10.0, 20.0]))
    attempt = idle_air(
        off_s=float(rng.uniform(9.0, 13.0)),
        first_s=float(rng.uniform(2.2, 3.8)),
        period_s=float(rng.uniform(0.7, 1.3)),
        wait_s=float(rng.uniform(6.0, 8.0)),
        release_s=float(rng.uniform(0.3, 3.8)),
        start_s=float(rng.uniform(0.8, 3.8)),
        idle_s=float(rng.uniform(15.0, 26.0)),
    )
    recording = recorded(attempt, rate_hz)
    procedure = find_procedure("P4")
    marks = {name: {"at": at, "give": 0.0} for name, at in attempt.marks.items()}
    lines = {line.step: line for line in judge(recording, procedure, marks).steps}
    time = np.arange(int(attempt.on[-1][1] * rate_hz)) / rate_hz + 0.0137
    spans = spans_of_idle_air(time, recording, float(str(attempt.marks["lamp_steady"])))
    for formula in formulae(procedure):
        line = lines[formula.step]
        value = robustness(formula, time, spans[formula.step])
        assert line.margin == pytest.approx(value, abs=1.0 / rate_hz + 0.06), formula.step
        if line.judgement != CANNOT_TELL:
            assert (value >= 0) == (line.judgement == MET), formula.step
        else:
            open_ended = line.measured is not None and np.isinf(line.measured.high)
            assert open_ended or abs(value) <= 2.1 / rate_hz, formula.step
