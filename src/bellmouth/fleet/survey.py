"""The survey: every recording judged, on this machine's cores or any Dask scheduler.

Recordings go out in bundles of about equal bytes, largest first; each bundle comes back as one
part on disk. A worker or a scheduler that dies costs only the bundles it held.
"""

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bellmouth.errors import BellmouthError
from bellmouth.fleet.cluster import local_cluster
from bellmouth.fleet.inputs import CarTable, Found, find_recordings, owner_of, read_cars
from bellmouth.fleet.parts import Findings, open_findings
from bellmouth.fleet.rows import Task, refusal, rows_of

if TYPE_CHECKING:
    from distributed import Client

__all__ = ["Progress", "bundles", "survey"]

_BUNDLE_BYTES = 8_000_000
_BUNDLE_MOST = 100
# Larger ones cost less a recording, but every core should have several to take in turn.
_BUNDLE_USUAL = 50
_BUNDLES_A_CORE = 4
_PATIENCE_S = 120.0  # how long a scheduler that went away is waited for
_NEVER_LOST = {"distributed.deploy.lost-worker-timeout": "30 days"}
_NO_RECORDING = "no recording of this car was given"
_NO_CAR = "no car in the table claims this recording"
_FATAL = (
    "every process that judged this recording ended, as for want of memory: judge it by itself "
    "with bellmouth find"
)


@dataclass(frozen=True)
class Progress:
    """How far a survey is: recordings done and in all this time, a second, seconds still to go, and
    rows that stood there before, from a survey that was broken off.
    """

    done: int
    total: int
    per_s: float
    left_s: float
    before: int = 0


def survey(
    recordings: Sequence[str],
    cars: str | Path,
    out: str | Path,
    *,
    scheduler: str | None = None,
    workers: int | None = None,
    tell: Callable[[Progress], None] | None = None,
    again: bool = False,
) -> Findings:
    """Judge every recording and keep a row of each.

    Parameters
    ----------
    recordings
        Folders, globs, files or fsspec addresses.
    cars
        The table of cars; see `read_cars`.
    out
        Folder of the findings; one that was broken off is taken up where it stopped.
    scheduler
        Address of a Dask scheduler; by default workers are started on this machine.
    workers
        How many processes on this machine; 0 judges in this one.
    tell
        Called with the progress after each bundle.
    again
        Take a survey of the same that is complete as it is, instead of refusing.

    Raises
    ------
    BellmouthError
        If the inputs cannot be used, the output belongs to something else, or the scheduler
        stays away.
    """
    table = read_cars(cars)
    found = find_recordings(recordings, leaving_out=(cars, out))
    findings = open_findings(out, table.digest, recordings, again=again)
    if findings.complete:
        return findings
    with findings.held():
        tasks, before = _plan(found, table, findings)
        begun, told = time.monotonic(), 0
        with _engine(scheduler, workers, len(tasks)) as run:
            for part in run(tasks):
                findings.add(part)
                told += len(part)
                if tell is not None:
                    rate = told / max(time.monotonic() - begun, 1e-9)
                    tell(Progress(told, len(tasks), rate, (len(tasks) - told) / rate, before))
        findings.finish()
    return findings


def _plan(found: Sequence[Found], table: CarTable, findings: Findings) -> tuple[list[Task], int]:
    """What is still to judge, and how many rows were there already; rows that need no judging are
    written at once."""
    identities = frozenset(table.identities)
    owners = [owner_of(file.path, identities) for file in found]
    seen = frozenset(owners)
    idle = [("", identity) for identity in table.identities if identity not in seen]
    done = findings.take_up({*idle, *((file.path, file.mark) for file in found)})
    tasks, refused = [], []
    for file, identity in zip(found, owners, strict=True):
        if (file.path, file.mark) in done:
            continue
        if identity is not None and identity in table.cars:
            tasks.append(Task(file, identity, table.family[identity], table.cars[identity]))
            continue
        why = table.refused[identity] if identity else _NO_CAR
        family = table.family[identity] if identity else ""
        refused.append(refusal(file.path, file.mark, identity, family, why))
    refused += [
        refusal(
            "",
            identity,
            identity,
            table.family[identity],
            _NO_RECORDING,
            table.cars[identity].metering if identity in table.cars else None,
        )
        for place, identity in idle
        if (place, identity) not in done
    ]
    if refused:
        findings.add(refused)
    return tasks, len(done)


def bundles(tasks: Sequence[Task], cores: int = 1) -> list[list[Task]]:
    """Tasks dealt out in bundles for so many cores, the heaviest first.

    What is large by itself goes alone; the rest is dealt so that bundles weigh alike and all cores
    get as many, or the last would wait for one of them.
    """
    ordered = sorted(tasks, key=lambda task: (-task.found.bytes, task.found.path))
    alone = [[task] for task in ordered if task.found.bytes >= _BUNDLE_BYTES]
    rest = ordered[len(alone) :]
    if not rest:
        return alone
    usual = max(_BUNDLE_USUAL, len(rest) // (_BUNDLES_A_CORE * cores))
    weight = sum(task.found.bytes for task in rest)
    number = max(-(-len(rest) // min(usual, _BUNDLE_MOST)), -(-weight // _BUNDLE_BYTES))
    number = min(-(-number // cores) * cores, len(rest))
    dealt: list[list[Task]] = [[] for _ in range(number)]
    for place, task in enumerate(rest):
        turn, at = divmod(place, number)
        # There and back again, so that who got the largest of one turn gets the least of the next.
        dealt[at if turn % 2 == 0 else number - 1 - at].append(task)
    return alone + dealt


Run = Callable[[Sequence[Task]], Iterator[list[dict[str, Any]]]]


@contextmanager
def _engine(scheduler: str | None, workers: int | None, count: int) -> Iterator[Run]:
    """Something that judges bundles and hands them back as they are ready."""
    if (workers == 0 and scheduler is None) or not count:
        yield lambda tasks: (rows_of(bundle) for bundle in bundles(tasks))
        return
    from distributed import Client  # noqa: PLC0415 - only a survey pays for it

    if scheduler is not None:

        def connect() -> "Client":
            return Client(scheduler, timeout=10)

        try:
            client = connect()
        except (OSError, TimeoutError, ValueError) as error:
            raise BellmouthError(
                f"{scheduler}: no Dask scheduler answers there. Check the address, or leave "
                "--scheduler out to use this machine."
            ) from error
        yield lambda tasks: _distributed(client, connect, tasks)
        return
    import dask  # noqa: PLC0415 - as above

    # A worker that dies again and again is begun again as often, however long it was away.
    with dask.config.set(_NEVER_LOST), local_cluster(workers) as cluster:
        yield lambda tasks: _distributed(Client(cluster), lambda: Client(cluster), tasks)


def _distributed(
    client: "Client", connect: Callable[[], "Client"], tasks: Sequence[Task]
) -> Iterator[list[dict[str, Any]]]:
    """Hand bundles out, few at a time so that memory stays bounded, and again where one is lost."""
    cores = 1
    with suppress(Exception):  # a scheduler that is gone shows below
        cores = _cores(client)
    waiting: list[Sequence[Task]] = list(reversed(bundles(tasks, cores)))
    held: dict[Any, Sequence[Task]] = {}
    suspects: list[Task] = []
    trial: Sequence[Task] = ()
    lost_since: float | None = None
    try:
        while waiting or held or suspects:
            if not (waiting or held):
                # Alone, so that it is known whose doing it is if the worker dies once more.
                trial = [suspects.pop()]
                waiting.append(trial)
            try:
                rows = _round(client, waiting, held)
            except Exception as error:
                # A scheduler that is gone shows itself as many kinds of error.
                lost_since = lost_since or time.monotonic()
                if time.monotonic() - lost_since > _PATIENCE_S:
                    raise BellmouthError(
                        f"the Dask scheduler stayed away ({type(error).__name__}). What was judged "
                        "is kept: run the same survey again to take it up."
                    ) from error
                waiting += list(held.values())
                held.clear()
                client = _again(client, connect)
                continue
            for future, part in rows:
                lost_since = None
                bundle = held.pop(future)
                if part is not None:
                    yield part
                elif bundle is trial:
                    yield [_fatal(bundle[0])]
                else:
                    suspects += bundle
    finally:
        _leave(client)


def _fatal(task: Task) -> dict[str, Any]:
    """The row of a recording that ends whatever process judges it."""
    found, car = task.found, task.car
    return refusal(found.path, found.mark, task.identity, task.family, _FATAL, car.metering)


def _round(
    client: "Client", waiting: list[Sequence[Task]], held: dict[Any, Sequence[Task]]
) -> list[tuple[Any, list[dict[str, Any]] | None]]:
    """Hand out what there is room for; what is ready, None for what workers died of."""
    if client.status != "running":
        # One that seeks its scheduler by itself takes work and never says that it is lost.
        raise ConnectionError("the scheduler is gone")
    while waiting and len(held) < 3 * _cores(client):
        # Taken off the list once it is handed out: handing out may fail.
        held[client.submit(rows_of, waiting[-1], pure=False, retries=5)] = waiting[-1]
        waiting.pop()
    return [(future, _result(future)) for future in _first_done(held)]


def _result(future: Any) -> list[dict[str, Any]] | None:
    """The rows of a bundle, None where every worker that took it up died, as of want of memory."""
    from distributed.scheduler import KilledWorker  # noqa: PLC0415 - only a survey pays for it

    try:
        rows: list[dict[str, Any]] = future.result(timeout=30)
    except KilledWorker:
        return None
    return rows


def _cores(client: "Client") -> int:
    """How many cores its workers have; one where it has none as yet."""
    cores: dict[str, int] = client.ncores()
    return max(sum(cores.values()), 1)


def _again(client: "Client", connect: Callable[[], "Client"]) -> "Client":
    """A fresh client, or the old one where no scheduler answers yet."""
    _leave(client)
    time.sleep(1.0)
    try:
        return connect()
    except (OSError, TimeoutError, ValueError):
        return client


def _leave(client: "Client") -> None:
    with suppress(Exception):  # it may be gone already, in as many ways as above
        client.close(timeout=2)


def _first_done(held: Mapping[Any, Sequence[Task]]) -> list[Any]:
    """The futures that are ready, waiting a while for the first; none where all still run."""
    from distributed import wait  # noqa: PLC0415 - only a survey pays for it

    try:
        return list(wait(list(held), timeout=10, return_when="FIRST_COMPLETED").done)
    except TimeoutError:
        return []
