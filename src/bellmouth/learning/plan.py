"""Which procedures a job needs, in what order, and which are covered already."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from bellmouth.errors import ProcedureError
from bellmouth.learning.packs import find_procedure, packs
from bellmouth.learning.procedure import WORK, Procedure

__all__ = ["Planned", "plan"]

#: What a procedure may make the controller learn; one procedure that does it is enough.
_LEARNED = ("pedal_released", "plate_closed", "idle_air")


@dataclass(frozen=True, slots=True)
class Planned:
    """One procedure of a plan.

    Attributes
    ----------
    procedure
        The procedure.
    why
        One sentence: which work calls for it.
    covered
        Why it need not be done, or empty.
    instead
        Other procedures that do the same on other cars; the manual says which.
    """

    procedure: Procedure
    why: str
    covered: str = ""
    instead: tuple[str, ...] = field(default=())


def plan(
    work: Iterable[str],
    *,
    done: Collection[str] = (),
    skipped: Mapping[str, str] | None = None,
    procedures: Iterable[Procedure] | None = None,
) -> tuple[Planned, ...]:
    """The learning procedures that some work calls for, in the order in which to do them.

    Parameters
    ----------
    work
        What was done to the car, each one of ``procedure.WORK``.
    done
        Names of procedures met since that work.
    skipped
        Procedures left out, with the reason.
    procedures
        Where to choose from; None for the packs.

    Returns
    -------
    tuple of Planned
        Released position, closed position, idle air, drive. What is covered stays in the list and
        says by what. A memory reset is never planned: it erases the proof, so it is a person's
        own decision.

    Raises
    ------
    ProcedureError
        For work or a procedure that is not known.
    """
    wanted = _known(work)
    finished = {find_procedure(name).name for name in done}
    left_out = {find_procedure(name).name: why for name, why in (skipped or {}).items()}
    choice = tuple(packs() if procedures is None else procedures)
    called = [one for one in choice if set(one.called_for_by) & set(wanted) and one.does != "reset"]
    first: dict[str, Procedure] = {}
    for one in sorted(called, key=lambda item: item.order):
        # Two ways to learn the same: the first is planned, the other named beside it.
        first.setdefault(one.does if one.does in _LEARNED else one.name, one)
    return tuple(_planned(one, wanted, choice, finished, left_out) for one in first.values())


def _known(work: Iterable[str]) -> tuple[str, ...]:
    found = tuple(dict.fromkeys(word.strip().lower().replace("-", "_") for word in work))
    for word in found:
        if word not in WORK:
            raise ProcedureError(f'Work "{word}" is not known. Known: {", ".join(WORK)}.')
    if not found:
        raise ProcedureError(f"Say what was done to the car, one or more of: {', '.join(WORK)}.")
    return found


def _planned(
    one: Procedure,
    work: Collection[str],
    choice: Iterable[Procedure],
    finished: Collection[str],
    left_out: Mapping[str, str],
) -> Planned:
    alike = [
        other
        for other in choice
        if other.does == one.does and other.name != one.name and one.does in _LEARNED
    ]
    why = f"Called for by: {', '.join(WORK[word] for word in work if word in one.called_for_by)}."
    covered = ""
    by = next((other for other in (one, *alike) if other.name in finished), None)
    if by is not None:
        covered = "Done." if by is one else f'Covered by "{by.title}".'
    elif one.name in left_out:
        covered = f"Left out, because {left_out[one.name]}."
    return Planned(one, why, covered, tuple(other.name for other in alike))
