"""Whether recordings are of one car, by what its controller said of itself where they hold that."""

from collections.abc import Sequence
from itertools import combinations

from bellmouth.errors import FindingError
from bellmouth.recording.series import Recording

__all__ = ["other_software", "refuse_other_cars"]


def refuse_other_cars(recordings: Sequence[Recording]) -> None:
    """Refuse recordings of different cars: they share no unknowns.

    Raises
    ------
    FindingError
        If the vehicle identification numbers that were told while two of them were made differ.
    """
    for one, other in combinations(recordings, 2):
        marks = (one.of_car.vehicle, other.of_car.vehicle)
        if all(marks) and marks[0] != marks[1]:
            raise FindingError(
                f"{other.source}: is of another car than {one.source}, by the VINs that were read "
                "while they were recorded. Give recordings of one car."
            )


def other_software(before: Recording, after: Recording) -> tuple[str, ...]:
    """What to say where the controller's software was changed between two recordings."""
    one, two = before.of_car, after.of_car
    if one.calibrations and two.calibrations and one.calibrations != two.calibrations:
        was, now = ", ".join(one.calibrations), ", ".join(two.calibrations)
        return (
            f"The control unit's software was changed between {before.source} and "
            f"{after.source} (calibration {was} before, {now} after): what differs may be its "
            "doing.",
        )
    if one.verifications and two.verifications and one.verifications != two.verifications:
        was, now = ", ".join(one.verifications), ", ".join(two.verifications)
        return (
            f"The control unit's software was changed between {before.source} and "
            f"{after.source} (verification number {was} before, {now} after): what differs may be "
            "its doing.",
        )
    return ()
