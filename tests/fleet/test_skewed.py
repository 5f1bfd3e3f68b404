"""One recording of ten hours among many of three minutes, on two worker processes.

Runs with ``HYPOTHESIS_PROFILE=soak`` only: the long one alone is half a million samples.
"""

import os
import shutil
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from bellmouth.fleet.survey import Progress, survey
from bellmouth.practice.polling import write_csv
from tests.finding.worked import healthy

SHORT = 40
HOURS_S = 36_000.0


def _long(short: Path, out: Path) -> None:
    """The short recording again and again, until ten hours are full."""
    header, *rows = short.read_text("utf-8").splitlines()
    split = [row.split(",", 1) for row in rows]
    length = float(split[-1][0]) + 1.0
    with out.open("w", encoding="utf-8") as file:
        file.write(header + "\n")
        for turn in range(int(HOURS_S / length) + 1):
            file.writelines(f"{float(at) + turn * length:.3f},{rest}\n" for at, rest in split)


@pytest.mark.skipif(os.environ.get("HYPOTHESIS_PROFILE") != "soak", reason="soak only")
def test_ten_hours_among_many_short_ones_hold_nobody_up(tmp_path: Path) -> None:
    recordings = tmp_path / "recordings"
    recordings.mkdir()
    write_csv(healthy("x.csv", seed=21), recordings / "van00.csv")
    for number in range(1, SHORT):
        shutil.copy(recordings / "van00.csv", recordings / f"van{number:02}.csv")
    _long(recordings / "van00.csv", recordings / "van40.csv")
    table = tmp_path / "cars.csv"
    rows = [f"van{number:02},2.0,airflow" for number in range(SHORT + 1)]
    table.write_text("\n".join(["car,displacement_l,metering", *rows]) + "\n", "utf-8")
    seen: list[Progress] = []
    two = survey([str(recordings)], table, tmp_path / "two", workers=2, tell=seen.append).read()
    # The long one goes out first and comes back while the other worker does the rest.
    assert [one.total for one in seen] == [SHORT + 1] * len(seen)
    assert seen[-1].done == SHORT + 1
    assert two["error"].null_count() == SHORT + 1
    long = two.filter(pl.col("seconds") > HOURS_S)
    assert long["car"].to_list() == ["van40"]
    alone = survey([str(recordings)], table, tmp_path / "one", workers=0).read()
    assert_frame_equal(two, alone, check_exact=True)
