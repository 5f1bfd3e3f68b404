"""What cleaning does to the idle opening of simulated cars."""

import pytest

from bellmouth.practice.population import Case, draw
from measure import cleaned
from measure.simulated import Plan


def test_only_cars_with_deposit_or_stale_learning_are_driven_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plan = Plan("A", 5, ("healthy", "deposit", "leak", "learned_stale"), ("idle",))
    asked: list[str] = []

    def run(cases: list[Case]) -> list[Case]:
        asked.extend(case.cause for case in cases)
        return list(cases)

    monkeypatch.setattr(cleaned, "run", run)
    monkeypatch.setattr(
        cleaned,
        "idle_opening_pct",
        lambda case: 3.0 + float(case.fault.deposit_mm2[0] > 0) + float(case.fault.stale_g_s[0]),
    )
    falls = cleaned.falls_of_chunk(plan, 0, 8)
    causes = [case.cause for case in draw(8, "A", 50_000, causes=plan.causes)]
    assert len(falls) == 8
    assert len(asked) == 2 * sum(cause in {"deposit", "learned_stale"} for cause in causes)
    for fall, cause in zip(falls, causes, strict=True):
        assert (fall > 0) == (cause in {"deposit", "learned_stale"})
        if cause == "deposit":
            assert fall == pytest.approx(1.0)
