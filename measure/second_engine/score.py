"""The finding on each case, through the public functions alone, and the usual tables."""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

import bellmouth
from bellmouth.finding.result import Size
from measure.population import Judged, log_weights
from measure.quick import SHORT
from measure.second_engine.cases import Case, choked_g_s_mm2
from measure.second_engine.days import CAUSE_SHARES
from measure.size_errors import SizeError, size_table
from measure.summary import by_split, confusion

__all__ = ["Answer", "answer", "show"]


@dataclass(frozen=True)
class Answer:
    """What `bellmouth.find` says of a case, prior left out in ``log_evidence`` [nat]."""

    case: Case
    log_evidence: Mapping[str, float]
    stated: Mapping[str, float]
    sizes: Mapping[str, Size]
    misfit: float
    seconds: float
    refused: str = ""

    @property
    def top(self) -> str:
        """The most probable cause under the stated weights."""
        return max(self.stated, key=lambda name: self.stated[name])


def answer(case: Case) -> Answer:
    """Read a case's files and ask; what is refused leaves the shares as they were drawn."""
    start = time.perf_counter()
    try:
        recording = bellmouth.read_recording(case.folder / "recording.csv")
        car = bellmouth.read_car(case.folder / "car.toml")
        good = case.folder / "reference.csv"
        references = [bellmouth.read_recording(good)] if good.exists() else []
        found = bellmouth.find(recording, car, references=references)
    except bellmouth.BellmouthError as error:
        flat = dict.fromkeys(CAUSE_SHARES, 0.0)
        return Answer(case, flat, dict(CAUSE_SHARES), {}, float("nan"), 0.0, str(error))
    true = [one.sizes for one in found.causes if one.cause == case.cause]
    return Answer(
        case,
        dict(found.log_evidence),
        {one.cause: one.probability for one in found.causes},
        true[0] if true else {},
        found.misfit,
        time.perf_counter() - start,
    )


def show(answers: Sequence[Answer], title: str, *, quick: bool) -> None:
    """Print the page: ``quick`` leaves out the cases that were told wrong."""
    ms = 1e3 * float(np.median([one.seconds for one in answers]))
    print(f"{title}, {len(answers)} cases, median {ms:.0f} ms")
    drawn, stated = _gather(answers, _as_drawn), _gather(answers, lambda one: one.stated)
    print("\nweights as the cases were drawn")
    print(by_split(_splits(drawn, answers)))
    print("\nstated weights, complaint unknown")
    print(by_split(_splits(stated, answers)))
    print("\ntrue cause by top cause, weights as drawn")
    print(confusion(drawn, SHORT))
    print("\ntrue cause by top cause, stated weights")
    print(confusion(stated, SHORT))
    print("\nsizes under the true cause")
    print(size_table(list(_size_errors(answers))))
    refused = [one for one in answers if one.refused]
    for one in refused:
        print(f"refused {one.case.number} ({one.case.plan}): {one.refused}")
    if not quick:
        _show_wrong(answers)


def _as_drawn(one: Answer) -> Mapping[str, float]:
    names = list(one.log_evidence)
    log = np.array([one.log_evidence[n] for n in names]) + log_weights(names, CAUSE_SHARES)
    share = np.exp(log - np.logaddexp.reduce(log))
    return dict(zip(names, map(float, share), strict=True))


def _gather(
    answers: Sequence[Answer], probabilities: Callable[[Answer], Mapping[str, float]]
) -> Judged:
    rows = [probabilities(one) for one in answers]
    causes = tuple(dict.fromkeys([*CAUSE_SHARES, "unexplained", *(n for r in rows for n in r)]))
    table = np.array([[row.get(name, 0.0) for name in causes] for row in rows])
    truth = np.array([causes.index(one.case.cause) for one in answers], dtype=np.intp)
    return Judged((), causes, table / table.sum(axis=1, keepdims=True), truth)


def _splits(judged: Judged, answers: Sequence[Answer]) -> dict[str, Judged]:
    """All, by what the car reports, by what was recorded, by cause."""
    keys = {"reports": ("airflow+pressure", "airflow", "pressure"), "plan": ("idle", "held")}
    groups = {"all": judged}
    for what, values in {**keys, "cause": tuple(CAUSE_SHARES)}.items():
        for value in values:
            mask = np.array([getattr(one.case, what) == value for one in answers])
            groups[value] = Judged((), judged.causes, judged.probability[mask], judged.truth[mask])
    return groups


def _size_errors(answers: Sequence[Answer]) -> list[SizeError]:
    found = []
    for one in answers:
        size = one.sizes.get(one.case.cause)
        if size is None:
            continue
        true = one.case.sizes[one.case.cause]
        if one.case.cause == "learned_stale" and size.unit == "mm2":
            true /= choked_g_s_mm2()
        named = one.top == one.case.cause
        log = float(np.log(size.value / true))
        inside = size.low <= true <= size.high
        error = abs(size.value / true - 1.0)
        found.append(SizeError(one.case.cause, error, inside, log, (), named))
    return found


def _show_wrong(answers: Sequence[Answer]) -> None:
    print("\nwrong under the stated weights, most certain first")
    wrong = [one for one in answers if one.top != one.case.cause]
    for one in sorted(wrong, key=lambda a: -a.stated[a.top]):
        case = one.case
        size = ", ".join(f"{value:.3g}" for value in case.sizes.values())
        print(
            f"{case.number:4d} {case.reports:16s} {case.plan:4s} {case.cause:13s} {size:6s} "
            f"as {one.top} {one.stated[one.top]:.2f}, truth "
            f"{one.stated.get(case.cause, 0.0):.2f}, misfit {one.misfit:.2f}"
        )
