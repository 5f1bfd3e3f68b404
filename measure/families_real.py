"""The real idles of one car, each judged with what was learnt from the other twenty-three."""

from pathlib import Path

from bellmouth.car.reader import read_car
from bellmouth.errors import BellmouthError
from bellmouth.finding.find import find
from bellmouth.fleet.family import Example, learn_family
from bellmouth.recording.readers import read_recording
from bellmouth.recording.steady import stretches
from measure import DATA
from measure.tables import heading, number, table, target

__all__ = ["show_real"]

_HEALTHY = 0.5


def show_real() -> None:
    """Print healthy's probability on each idle, without and with the others as its family.

    All are of one car: their spread is from one day to the next, narrower than a family's, which
    makes this the harder test of a false alarm.
    """
    files = sorted((DATA / "idle").glob("*.csv.gz"))
    print(heading("Real idles of one car, each with a family learnt from the others"))
    if not files:
        print(f"no recordings: {DATA / 'idle'} is not there")
        return
    car = read_car(Path(__file__).parent / "cars" / "idle.toml")
    recordings = {file.name.split(".")[0]: read_recording(file) for file in files}
    examples = [Example(n, stretches(r), car, n) for n, r in recordings.items()]
    rows, worst, calm = [], 0.0, 0
    for place, (name, recording) in enumerate(recordings.items()):
        others = [one for i, one in enumerate(examples) if i != place]
        try:
            alone = find(recording, car)
            family = learn_family(others, "the other idles").family
            within = find(recording, car, family=family)
        except BellmouthError as error:
            rows.append([name, "-", "-", "-", str(error)[:40]])
            continue
        fault = max(
            c.probability for c in within.causes if c.cause not in ("healthy", "unexplained")
        )
        worst = max(worst, fault)
        calm += within.causes[0].cause == "healthy"
        told = [one.causes[0] for one in (alone, within)]
        belongs = within.family.belongs if within.family else float("nan")
        cells = [f"{one.cause} {number(one.probability)}" for one in told]
        rows.append([name, *cells, number(fault), number(belongs)])
    print(table(["idle", "alone", "with the others", "largest fault", "belongs"], rows))
    print(target("idles with healthy on top", calm, len(rows) - 1, at_least=True, digits=0))
    print(target("largest probability of a fault", worst, _HEALTHY, at_least=False))
