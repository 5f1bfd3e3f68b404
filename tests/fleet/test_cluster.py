"""Workers of a survey: one core each, and ready before the first recording."""

import os
import sys

from bellmouth.fleet.cluster import local_cluster


def _about() -> dict[str, object]:
    import dask  # noqa: PLC0415 - asked in the worker
    import polars as pl  # noqa: PLC0415

    from bellmouth.finding.idle_speed import _relative_rises  # noqa: PLC0415

    return {
        "threads": [os.environ[name] for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")],
        "polars": pl.thread_pool_size(),
        "loaded": "bellmouth.fleet.rows" in sys.modules,
        "judged": _relative_rises.cache_info().currsize > 0,
        "watched": dask.config.get("distributed.worker.profile.enabled"),
    }


def test_a_worker_is_one_core_and_has_judged_before_it_takes_work() -> None:
    from distributed import Client  # noqa: PLC0415

    with local_cluster(1) as cluster, Client(cluster) as client:
        (told,) = client.run(_about).values()
    assert told == {
        "threads": ["1", "1"],
        "polars": 1,
        "loaded": True,
        "judged": True,
        "watched": False,
    }
