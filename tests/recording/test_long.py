"""A day's recording: ten hours at fifty samples a second, within a gibibyte and a half.

Runs with ``HYPOTHESIS_PROFILE=soak`` only: it takes a minute and half a gigabyte of disk.
"""

import os
import resource
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

HOURS = 10
RATE = 50
NAMES = (
    "engine_speed [rpm]", "mass_air_flow [g/s]", "intake_manifold_pressure [kPa]",
    "throttle_position [%]", "short_term_fuel_trim_bank_1 [%]", "long_term_fuel_trim_bank_1 [%]",
    "engine_coolant_temperature [degC]", "calculated_load [%]", "vehicle_speed [km/h]",
    "control_module_voltage [V]", "barometric_pressure [kPa]",
)  # fmt: skip
MOST_BYTES = int(1.5 * 2**30)
READ = """
import resource, sys
from bellmouth.recording import read_recording, stretches
found = stretches(read_recording(sys.argv[1]))
print(len(found), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024)
"""


def write(path: Path) -> None:
    """One value a row, in turn, about what an idling engine shows."""
    rng = np.random.default_rng(0)
    level = np.array([700, 2.6, 34, 15, 3, 4, 88, 25, 0, 14, 100])
    with path.open("w") as file:
        file.write("time [s]," + ",".join(NAMES) + "\n")
        for start in range(0, HOURS * 3600 * RATE, 100_000):
            rows = np.arange(start, min(start + 100_000, HOURS * 3600 * RATE))
            noise = rng.normal(size=rows.size)
            for row, kick in zip(rows.tolist(), noise.tolist(), strict=True):
                at = row % len(NAMES)
                value = level[at] * (1 + 0.01 * kick)
                file.write(f"{row / RATE:.2f}" + "," * (at + 1) + f"{value:.2f}")
                file.write("," * (len(NAMES) - at - 1) + "\n")


@pytest.mark.skipif(os.environ.get("HYPOTHESIS_PROFILE") != "soak", reason="soak only")
def test_ten_hours_fit_into_memory(tmp_path: Path) -> None:
    write(tmp_path / "day.csv")
    limit = (MOST_BYTES * 3, MOST_BYTES * 3)
    done = subprocess.run(
        [sys.executable, "-c", READ, str(tmp_path / "day.csv")],
        capture_output=True,
        text=True,
        check=True,
        # Address space, far above what is used: a runaway must not take the machine along.
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_DATA, limit),
    )
    found, used = (int(word) for word in done.stdout.split())
    assert 1 <= found <= 24
    assert used < MOST_BYTES, f"{used / 2**30:.2f} GiB"
