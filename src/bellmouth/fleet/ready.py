"""A worker's rehearsal, before it takes any work: the packaged recording judged.

Loading the libraries, the tables of priors and the code itself takes as long as dozens of
recordings; named as ``distributed.worker.preload`` this is part of a worker's start.
"""

from importlib.resources import as_file, files
from typing import Any

from bellmouth.car.reader import read_car
from bellmouth.fleet.inputs import Found
from bellmouth.fleet.rows import Task, rows_of
from bellmouth.recording.parquet_file import reads_alone

__all__ = ["dask_setup"]


def dask_setup(worker: Any) -> None:
    """Judge the packaged recording twice over, as a bundle; what comes out is not kept."""
    if worker.state.nthreads == 1:
        reads_alone()
    with as_file(files("bellmouth") / "data" / "demo") as folder:
        car = read_car(folder / "car.toml")
        task = Task(Found(str(folder / "recording.csv"), 0, ""), "demo", "", car)
        rows_of([task, task])
