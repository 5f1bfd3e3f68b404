"""What a family prior gains: the same held-out cars with and without it.

``python -m measure.families`` works on the families for development, ``--final`` on others, of
variants and seeds that nothing was tuned on. Every family is learnt from its cars' recordings, one
a car, faulty ones among them and nobody saying which. What is found for a family is kept on disk
until the code changes, so that ``--only NAME`` can do it a family at a time.
"""

import argparse
import hashlib
import pickle
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bellmouth.errors import BellmouthError
from bellmouth.finding.case import solve
from bellmouth.finding.family import Family as Learnt
from bellmouth.finding.priors import cause_weights
from bellmouth.fleet.family import Example, learn_family
from measure import OUT, ROOT
from measure.cases import Sample
from measure.families_real import show_real
from measure.family_cars import FAULTS, FAULTY, FINAL, TUNING, Family, family_samples
from measure.judge import Judgement, judge, log_prior, posterior
from measure.pool import spread
from measure.population import Judged, Weights, gather, log_weights
from measure.scores import top
from measure.summary import by_split, figures
from measure.tables import heading, number, table, target

__all__ = ["main"]

_HELD_OUT = 1000  # number of the first car that is held out
_TARGET = 1.0 / 3.0
_LEARNING = ("crowd", "family", "studies")
#: What is known of how the cases were drawn, to compare both at the same weights.
_DRAWN: Weights = {"healthy": 1.0 - FAULTY, **{cause: FAULTY / len(FAULTS) for cause in FAULTS}}


def judge_within(sample: Sample, family: Learnt) -> Judgement:
    """As `measure.judge.judge`, under a family's prior; only what the scores need."""
    case = solve(sample.judged, (), sample.car, f"case {sample.number}", family=family)
    names, logs = case.names, case.log_evidence
    chance = posterior(logs, log_prior(case, family.weights(cause_weights("unknown"))))
    return Judgement(
        sample, names, logs, chance, {}, names[int(np.argmax(chance))], (), {}, 0.0, 0.0
    )


def _learnt(family: Family, samples: Sequence[Sample]) -> Learnt:
    examples = [
        Example(str(one.number), one.judged, one.car, f"car {one.number}") for one in samples
    ]
    return learn_family(examples, family.name).family


Measured = tuple[Family, list[Judgement], dict[int, tuple[Learnt, list[Judgement]]]]


def _place(asked: tuple[Family, tuple[int, ...], int, int]) -> Path:
    """Where what is found is kept, by what was asked and the code that finds it."""
    mark = hashlib.sha256(repr(asked).encode())
    rooms = ROOT / "src" / "bellmouth"
    files = [*(rooms / "finding").glob("*.*"), *(rooms / "fleet").glob("*.py")]
    files = [one for one in files if one.parent.name == "finding" or one.stem in _LEARNING]
    for file in sorted(files):
        mark.update(file.read_bytes())
    return OUT / "families" / f"found-{mark.hexdigest()[:12]}.pickle"


def _measured(asked: tuple[Family, tuple[int, ...], int, int]) -> Measured:
    """What is kept of this, or made and kept."""
    path = _place(asked)
    if path.exists():
        # Written below by this program, in its own folder.
        kept: Measured = pickle.loads(path.read_bytes())  # noqa: S301
        return kept
    made = _made(asked)
    part = path.with_suffix(".part")
    part.write_bytes(pickle.dumps(made, protocol=pickle.HIGHEST_PROTOCOL))
    part.replace(path)
    return made


def _made(asked: tuple[Family, tuple[int, ...], int, int]) -> Measured:
    family, sizes, train, held = asked
    cars = family_samples(family, train)
    out = _judgeable(family_samples(family, held, _HELD_OUT))
    without = [judge(one) for one in out]
    within = {}
    for size in sizes:
        learnt = _learnt(family, cars[:size])
        within[size] = (learnt, [judge_within(one, learnt) for one in out])
    return family, without, within


def _judgeable(samples: Sequence[Sample]) -> list[Sample]:
    """Those that can be judged at all: a refusal is the same with and without a family."""
    found = []
    for one in samples:
        try:
            solve(one.judged, (), one.car)
        except BellmouthError:
            continue
        found.append(one)
    return found


def _as_used(judgements: Sequence[Judgement], family: Learnt | None) -> Judged:
    weights = cause_weights("unknown")
    used = weights if family is None else family.weights(weights)
    return gather(judgements, lambda one: log_weights(one.names, used))


def _as_drawn(judgements: Sequence[Judgement]) -> Judged:
    return gather(judgements, lambda one: log_weights(one.names, _DRAWN))


def _joined(parts: Sequence[Judged]) -> Judged:
    """Several families' cases as one set."""
    causes = list(dict.fromkeys(cause for part in parts for cause in part.causes))
    rows, truth = [], []
    for part in parts:
        whole = np.zeros((len(part.truth), len(causes)))
        places = [causes.index(cause) for cause in part.causes]
        whole[:, places] = part.probability
        rows.append(whole)
        truth.append(np.array(places, dtype=np.intp)[part.truth])
    judgements = tuple(one for part in parts for one in part.judgements)
    return Judged(judgements, tuple(causes), np.concatenate(rows), np.concatenate(truth))


def _splits(name: str, judged: Judged) -> dict[str, Judged]:
    blind = judged.only("reports", "airflow")
    seeing = judged.where(lambda one: one.sample.reports != "airflow")
    return {f"{name}, all": judged, f"{name}, no pressure sensor": blind, f"{name}, with": seeing}


def _error(judged: Judged) -> float:
    return 1.0 - figures(judged).right


def _show_shares(family: Family, learnt: Learnt, train: int) -> str:
    drawn = [one.cause for one in family_samples(family, train)[: learnt.cars]]
    names = ["healthy", *FAULTS]
    told = [number(learnt.shares[name], 2) for name in names]
    true = [number(drawn.count(name) / len(drawn), 2) for name in names]
    rows = [[f"{family.name}, learnt", *told], [f"{family.name}, true", *true]]
    return table(["shares", *names], rows)


def show(families: Sequence[Family], sizes: tuple[int, ...], train: int, held: int) -> None:
    """Print everything about these families."""
    asked = [(family, sizes, train, held) for family in families]
    found = spread(_measured, asked, 2, "families")
    most = max(sizes)
    without = _joined([_as_used(judged, None) for _, judged, _ in found])
    by_size = {
        size: _joined([_as_used(w[size][1], w[size][0]) for _, _, w in found]) for size in sizes
    }
    print(heading(f"Held-out cars, as used (complaint unknown), families of {most} cars"))
    print(by_split({**_splits("without", without), **_splits("family", by_size[most])}))
    print(heading("The same at equal weights: as the cases were drawn, for both"))
    drawn = [
        _joined([_as_drawn(judged) for _, judged, _ in found]),
        _joined([_as_drawn(w[most][1]) for _, _, w in found]),
    ]
    print(by_split({**_splits("without", drawn[0]), **_splits("family", drawn[1])}))
    print(heading("Each family"))
    for family, judged, within in found:
        pair = {
            f"{family.name}, without": _as_used(judged, None),
            f"{family.name}, family": _as_used(within[most][1], within[most][0]),
        }
        print(by_split(pair))
    print(heading("Shares of causes, estimated against true"))
    for family, _, within in found:
        print(_show_shares(family, within[most][0], train))
    print(heading("Error of the top cause by how many cars the family was learnt from"))
    _curve(without, by_size)
    print(heading("Targets"))
    _targets(without, by_size[most], drawn)


def _curve(without: Judged, by_size: dict[int, Judged]) -> None:
    rows = []
    for name, judged in {"none": without, **{str(k): v for k, v in by_size.items()}}.items():
        blind, all_cars = figures(judged.only("reports", "airflow")), figures(judged)
        cells = [1 - all_cars.right, 1 - blind.right, blind.brier, blind.calibration, blind.bound]
        rows.append([name, *(number(cell, 3) for cell in cells)])
    print(table(["cars", "error", "no pressure", "Brier", "cal.err", "95 %"], rows))


def _targets(without: Judged, within: Judged, drawn: Sequence[Judged]) -> None:
    before, after = (one.only("reports", "airflow") for one in (without, within))
    right = [top(one.probability) == one.truth for one in (before, after)]
    cut = 1.0 - _error(after) / _error(before)
    low, high = _interval(*right)
    what = f"error cut without a pressure sensor ({low:.2f} to {high:.2f} at 90 %)"
    print(target(what, cut, _TARGET, at_least=True))
    fair = [_error(one.only("reports", "airflow")) for one in drawn]
    print(target("the same at equal weights", 1.0 - fair[1] / fair[0], _TARGET, at_least=True))
    honest = figures(after)
    bound = honest.bound
    print(target("calibration error with family", honest.calibration, bound, at_least=False))
    print(target("90 % sets that hold the truth", honest.covered, 0.9, at_least=True))


def _interval(before: NDArray[np.bool_], after: NDArray[np.bool_]) -> tuple[float, float]:
    """Bootstrap over cars of the relative cut of the error."""
    rng = np.random.default_rng(1)
    drawn = rng.integers(0, len(before), (2000, len(before)))
    cut = 1.0 - (~after)[drawn].mean(axis=1) / np.maximum((~before)[drawn].mean(axis=1), 1e-9)
    low, high = np.quantile(cut, [0.05, 0.95])
    return float(low), float(high)


def main(arguments: list[str] | None = None) -> int:
    """Run the measurement; see the module's docstring."""
    parser = argparse.ArgumentParser(prog="python -m measure.families", description=__doc__)
    parser.add_argument("--final", action="store_true", help="the families kept for the end")
    parser.add_argument("--cars", type=int, nargs="+", default=[10, 30, 100, 200])
    parser.add_argument("--held", type=int, default=100)
    parser.add_argument("--only", metavar="NAME", help="only make what is kept of this family")
    parser.add_argument("--kept", action="store_true", help="only families made with --only")
    parser.add_argument("--real", action="store_true", help="only the real idles")
    asked = parser.parse_args(arguments)
    families: tuple[Family, ...] = FINAL if asked.final else TUNING
    if asked.only:
        for family in families:
            if family.name == asked.only:
                _measured((family, tuple(asked.cars), 200, asked.held))
        return 0
    if asked.kept:
        sizes = tuple(asked.cars)
        families = tuple(f for f in families if _place((f, sizes, 200, asked.held)).exists())
    if not asked.real:
        show(families, tuple(asked.cars), 200, asked.held)
    show_real()
    return 0


if __name__ == "__main__":
    sys.exit(main())
