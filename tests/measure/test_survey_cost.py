"""What a survey costs as a line over its size."""

import pytest

from measure.survey_cost import Run, line_through, predicted_s, targets


def _run(count: int, took: float) -> Run:
    return Run(
        when="", count=count, distinct=count, workers=2, bytes_in=1, bytes_out=1, errors=0,
        start_s=1.5, survey_s=took, worker_cpu_s=2 * took, own_cpu_s=0.0, read_s=took / 10.0,
        read_cpu_s=took / 5.0, peak_bytes=1,
    )  # fmt: skip


def test_a_line_gives_back_what_made_it() -> None:
    size = [100, 1000, 10_000]
    fixed, each, off = line_through(size, [0.4 + 0.018 * count for count in size])
    assert (fixed, each) == pytest.approx((0.4, 0.018))
    assert off < 1e-9


def test_a_line_never_gains_by_starting() -> None:
    fixed, _, off = line_through([100, 1000, 10_000], [1.0, 12.0, 150.0])
    assert fixed == 0.0
    assert off > 0.1


def test_cost_that_bends_is_not_called_linear() -> None:
    straight = targets([_run(100, 2.2), _run(1000, 18.4), _run(10_000, 180.4)])
    bent = targets([_run(100, 2.2), _run(1000, 18.4), _run(10_000, 280.0)])
    assert _word(straight, "cost by the clock, furthest from 0.40 s + 18.00 ms") == "met"
    assert _word(bent, "cost by the clock, furthest") == "MISSED"
    assert _word(straight, "cost by the clock a recording") == "MISSED"


def _word(lines: list[str], what: str) -> str:
    return next(line.split()[0] for line in lines if what in line)


def test_the_line_is_carried_on() -> None:
    runs = [_run(100, 2.2), _run(1000, 18.4)]
    assert predicted_s(runs, 10_000) == pytest.approx(180.4)
    assert predicted_s(runs[:1], 200) == pytest.approx(4.4)
