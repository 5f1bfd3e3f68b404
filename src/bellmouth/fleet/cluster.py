"""Worker processes on this machine for a survey: one a core, ready before the first recording."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from distributed import LocalCluster

__all__ = ["SETTINGS", "local_cluster"]

#: How a worker that judges recordings is set up; a cluster of one's own does well with them too.
SETTINGS: Mapping[str, Any] = {
    # A worker is one core: no library may start threads that would only be in each other's way.
    "distributed.nanny.pre-spawn-environ": {
        "OMP_NUM_THREADS": 1,
        "MKL_NUM_THREADS": 1,
        "OPENBLAS_NUM_THREADS": 1,
        "POLARS_MAX_THREADS": 1,
    },
    # Looking at the stack a hundred times a second takes the interpreter from the work.
    "distributed.worker.profile.enabled": False,
    # Nor need its processes look at themselves fifty times a second: a fiftieth of the work.
    "distributed.admin.tick.interval": "1s",
    "distributed.admin.system-monitor.interval": "2s",
    "distributed.worker.memory.monitor-interval": "500ms",
    "distributed.worker.preload": ["bellmouth.fleet.ready"],
}


def local_cluster(workers: int | None) -> "LocalCluster":
    """Worker processes on this machine, by default one a core, reachable from it alone."""
    import dask  # noqa: PLC0415 - only a survey pays for it
    from distributed import LocalCluster  # noqa: PLC0415

    with dask.config.set(dict(SETTINGS)):
        return LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            # Without an address the scheduler takes a fixed port, which another survey may have.
            scheduler_kwargs={"dashboard": False, "dashboard_address": "127.0.0.1:0"},
            host="127.0.0.1",
            silence_logs=50,
        )
