"""The monitors as a recording holds them: the last value of parameter 01."""

from bellmouth.errors import RecordingError
from bellmouth.j1979.addressing import ENGINE
from bellmouth.j1979.codes import MonitorStatus, decode_monitor_status
from bellmouth.recording.series import Recording

__all__ = ["recorded_monitors"]


def recorded_monitors(recording: Recording) -> dict[int, MonitorStatus]:
    """Monitor status by controller, as :func:`bellmouth.bus.readiness.advise` takes it: the
    engine's, whose values a recording holds unless another was chosen.

    Raises
    ------
    RecordingError
        If the recording does not hold ``monitor_status``.
    """
    series = recording.get("monitor_status")
    if series is None:
        raise RecordingError(
            f"{recording.source}: holds no monitor_status. Record it anew with bellmouth record, "
            "or read the car itself."
        )
    return {ENGINE: decode_monitor_status(int(series.value[-1]).to_bytes(4, "big"))}
