"""A small fleet on disk: the packaged recording under several cars' names."""

import gzip
import shutil
from pathlib import Path

from bellmouth.practice.polling import write_csv
from tests.finding.worked import healthy, meter_reads_low

__all__ = ["make_fleet"]

TABLE = """car,family,displacement_l,metering,idle_rpm,idle_rpm_sd
van01,two litre,2.0,airflow,700,10
van02,two litre,2.0,airflow,,
van03,other,2.0,airflow,,
van04,other,2.0,guess,,
van05,other,2.0,airflow,,
"""


def make_fleet(folder: Path) -> tuple[Path, Path]:
    """Recordings and the table of their cars: two that can be judged, one damaged, one car whose
    row is wrong, one without a recording, one recording without a car."""
    recordings = folder / "recordings"
    (recordings / "van02").mkdir(parents=True)
    write_csv(healthy("x.csv", seed=21), recordings / "van01_monday.csv")
    write_csv(meter_reads_low("x.csv", seed=22), recordings / "van02" / "tuesday.csv")
    (recordings / "van03-cut.csv").write_text("time [s],engine_speed [rpm]\n0.0,7x\n", "utf-8")
    shutil.copy(recordings / "van01_monday.csv", recordings / "van04.csv")
    with gzip.open(recordings / "stranger.csv.gz", "wb") as file:
        file.write((recordings / "van01_monday.csv").read_bytes())
    table = folder / "cars.csv"
    table.write_text(TABLE, "utf-8")
    return recordings, table
