"""That loads are taken as off, in words."""

from collections.abc import Iterator, Sequence

from bellmouth.recording.series import Recording

__all__ = ["loads_told"]


def loads_told(recordings: Sequence[Recording]) -> Iterator[str]:
    """What is taken as told of loads; of several recordings those are named that it is told of."""
    off = [one.source for one in recordings if one.loads_off]
    if off:
        said = (
            "Taken as told: every load was off at idle (air conditioning, blower, lights, heated "
            "windows). If one was on, an idle that it raised looks like surplus air."
        )
        yield said if len(recordings) == 1 else f"{', '.join(off)}: {said}"
