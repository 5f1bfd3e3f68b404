"""What `find` and `prove` were given: of the right kind, or refused in a sentence that says what to
give. Programs call them with what lies at hand, and a file's name or a table lies nearer."""

from collections.abc import Iterable, Mapping
from pathlib import Path

from bellmouth.car.description import Car
from bellmouth.errors import FindingError, shown
from bellmouth.finding.check_table import CheckResult
from bellmouth.finding.family import Family
from bellmouth.recording.series import Recording

__all__ = [
    "refuse_no_car",
    "refuse_other_kinds",
    "the_recording",
    "the_recordings",
    "the_results",
    "the_works",
]


def the_recording(given: object, name: str) -> Recording:
    """A recording as it is.

    Raises
    ------
    FindingError
        Where it is none.
    """
    if isinstance(given, Recording):
        return given
    file = repr(str(given)) if isinstance(given, str | Path) else "file"
    raise FindingError(
        f"{name}: {_kind(given)} is no recording. Give what read_recording({file}) returns."
    )


def the_recordings(given: object, name: str) -> tuple[Recording, ...]:
    """Several recordings; a single one is a list of one.

    Raises
    ------
    FindingError
        Where one is none.
    """
    if isinstance(given, Recording):
        return (given,)
    return tuple(the_recording(one, name) for one in _each(given))


def refuse_no_car(given: object) -> None:
    """Refuse what is no car.

    Raises
    ------
    FindingError
        Where it is none.
    """
    if isinstance(given, Car):
        return
    if isinstance(given, Mapping):
        instead = "bellmouth.car.car_from_mapping(table)"
    else:
        file = repr(str(given)) if isinstance(given, str | Path) else '"car.toml"'
        instead = f"read_car({file})"
    raise FindingError(f"car: {_kind(given)} is no car. Give what {instead} returns.")


def the_results(given: object) -> tuple[str | CheckResult, ...]:
    """What checks showed; a single result is a list of one.

    Raises
    ------
    FindingError
        Where one is neither text nor a result.
    """
    each = _each(given)
    told = tuple(one for one in each if isinstance(one, str | CheckResult))
    if len(told) < len(each):
        raise FindingError(
            f"results: {_kind(given)} is no list of results. Give texts such as "
            '["smoke_test=none"].'
        )
    return told


def the_works(given: object) -> tuple[str, ...]:
    """What was done; a single work is a list of one.

    Raises
    ------
    FindingError
        Where one is no text.
    """
    each = _each(given)
    told = tuple(one for one in each if isinstance(one, str))
    if len(told) < len(each):
        raise FindingError(
            f'done: {_kind(given)} is no list of works. Give texts such as ["clean_plate"].'
        )
    return told


def refuse_other_kinds(prior: object, complaint: object, family: object) -> None:
    """Refuse a prior, a complaint or a family of a kind that cannot be one.

    Raises
    ------
    FindingError
        For the first such.
    """
    if not isinstance(prior, Mapping | str | Path | None):
        raise FindingError(
            f"prior: {_kind(prior)} holds no weights. Give a table of them or the name of its file."
        )
    if not isinstance(complaint, str | None):
        raise FindingError(
            f'complaint: {_kind(complaint)} is no text. Give one such as "high idle".'
        )
    if not isinstance(family, Family | str | Path | None):
        raise FindingError(
            f"family: {_kind(family)} is no engine family. Give what read_family returns, or the "
            "name of its file."
        )


def _each(given: object) -> tuple[object, ...]:
    """The things in a list; anything else is one thing."""
    if isinstance(given, Iterable) and not isinstance(given, str | bytes | Mapping):
        return tuple(given)
    return (given,)


def _kind(given: object) -> str:
    """What was given, for the sentence."""
    kind = "None" if given is None else type(given).__name__
    return f"{kind} ({shown(str(given))})" if isinstance(given, str | Path) else kind
