"""A case: everything that a finding is made from, inferred from stretches, one or many at once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Car
from bellmouth.finding.belonging import Asked, Inferred, infer_with, problem_of
from bellmouth.finding.family import Family
from bellmouth.finding.habit import Habit, IdleAir, idle_sides
from bellmouth.finding.hypothesis import Hypotheses, Scale, enumerate_hypotheses
from bellmouth.finding.idle_beside import IdleBeside, idle_beside
from bellmouth.finding.idle_speed import IdleSpeed
from bellmouth.finding.infer import Posterior, Problem, SideLog, infer_many
from bellmouth.finding.key_on import KeyOn, key_on
from bellmouth.finding.load_level import LoadLevel, load_level
from bellmouth.finding.load_reading import LoadReading, load_reading
from bellmouth.finding.model import Model
from bellmouth.finding.nominal import nominal_of, scale_of
from bellmouth.finding.observations import Observations, judgeable, observe
from bellmouth.finding.plate_position import PlatePosition, plate_position
from bellmouth.finding.priors import Priors, load_priors
from bellmouth.finding.result import OfFamily
from bellmouth.finding.suitable import refuse_foreign, usable
from bellmouth.recording.stretch import Stretch

__all__ = ["Case", "Prepared", "prepare", "solve", "solve_many"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Case:
    """Everything a finding was made from; tests, accuracy and proofs start here."""

    observations: Observations
    model: Model
    hypotheses: Hypotheses
    covariances: Floats
    scale: Scale
    posterior: Posterior
    priors: Priors
    car: Car
    idle: IdleSpeed
    plate: PlatePosition
    key_on: KeyOn
    load: LoadReading
    beside: IdleBeside | None
    level: LoadLevel
    air: IdleAir | None = None
    family: OfFamily | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the hypotheses, ``unexplained`` last."""
        return (*self.hypotheses.names, "unexplained")

    @property
    def log_evidence(self) -> Floats:
        """What the readings say of each of `names`, prior left out, (hypotheses + 1,). [nat]"""
        return np.append(self.posterior.log_evidence, self.posterior.log_unexplained)


@dataclass(frozen=True)
class Prepared:
    """A case before its hypotheses are weighed."""

    problem: Problem
    case: Callable[[Posterior], Case]


def solve(
    judged: Sequence[Stretch],
    references: Sequence[Sequence[Stretch]],
    car: Car,
    source: str = "recording",
    *,
    also: Sequence[Sequence[Stretch]] = (),
    family: Family | None = None,
) -> Case:
    """Infer every hypothesis from stretches; the part of `find` between files and words."""
    if family is not None:
        family.fits(car)
    ground = _ground(judged, references, car, source, also)
    if family is not None:
        return ground.case(infer_with(ground.asked, family), family)
    return solve_many([ground.prepared()])[0]


def solve_many(prepared: Sequence[Prepared]) -> list[Case]:
    """The same for many recordings at once: each gets what it gets alone, for less."""
    posteriors = infer_many([one.problem for one in prepared])
    return [one.case(found) for one, found in zip(prepared, posteriors, strict=True)]


def prepare(
    judged: Sequence[Stretch],
    references: Sequence[Sequence[Stretch]],
    car: Car,
    source: str = "recording",
) -> Prepared:
    """Everything that `solve_many` needs of one recording."""
    return _ground(judged, references, car, source, ()).prepared()


@dataclass(frozen=True)
class _Ground:
    """What a case rests on before anything is inferred."""

    asked: Asked
    hypotheses: Hypotheses
    scale: Scale
    plate: PlatePosition
    key_on: KeyOn
    load: LoadReading
    beside: IdleBeside
    level: LoadLevel
    idle: Callable[[Habit | None], tuple[IdleSpeed] | tuple[IdleSpeed, IdleAir]]

    def prepared(self) -> Prepared:
        """The case, up to the weighing of its hypotheses as of any car's."""
        problem = problem_of(self.asked)

        def case(posterior: Posterior) -> Case:
            return self.case(Inferred(problem.model, problem.covariances, posterior), None)

        return Prepared(problem, case)

    def case(self, found: Inferred, family: Family | None) -> Case:
        usual = self.idle(None if family is None else family.habit)
        return Case(
            observations=self.asked.observations,
            model=found.model,
            hypotheses=self.hypotheses,
            covariances=found.covariances,
            scale=self.scale,
            posterior=found.posterior,
            priors=self.asked.priors,
            car=self.asked.car,
            idle=usual[0],
            plate=self.plate,
            key_on=self.key_on,
            load=self.load,
            # Beside a family the air is held against that of its cars.
            beside=self.beside if family is None else None,
            level=self.level,
            air=usual[1] if len(usual) > 1 else None,
            family=OfFamily.told(family, found.belongs),
        )


def _ground(
    judged: Sequence[Stretch],
    references: Sequence[Sequence[Stretch]],
    car: Car,
    source: str,
    also: Sequence[Sequence[Stretch]],
) -> _Ground:
    usable(judged, source)
    priors = load_priors().of(car)
    # A reference without a running engine would only look like knowledge of the car.
    good, more = ([one for one in group if judgeable(one)] for group in (references, also))
    observations = observe(judged, good, car, more)
    refuse_foreign(observations, judged, source)
    nominal = nominal_of(observations, priors)
    scale = scale_of(observations, nominal, priors)
    hypotheses = enumerate_hypotheses(priors, scale, observations)
    now = observations.judged_recordings
    plate = plate_position(observations, priors, hypotheses, scale, now)
    off = key_on(observations, priors, hypotheses, now)
    load = load_reading(observations, priors, hypotheses)
    beside = idle_beside(observations, car, priors, hypotheses, scale)
    level = load_level(observations, priors, hypotheses)
    # Asked for once by the inference and once by the case.
    idle = cache(partial(idle_sides, observations, car, priors, hypotheses, scale))

    def sides(habit: Habit | None) -> list[SideLog]:
        found: list[SideLog] = [*idle(habit), plate, off, load, level]
        return [*found, beside] if habit is None else found

    asked = Asked(observations, car, priors, nominal, hypotheses, sides)
    return _Ground(asked, hypotheses, scale, plate, off, load, beside, level, idle)
