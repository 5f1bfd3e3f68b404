"""Settings that every test shares."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# No deadline: other work on the same machine must not fail a property. The usual examples are the
# same every time, so that a change is not refused for what another one brought; the soak searches.
settings.register_profile("usual", deadline=None, max_examples=40, derandomize=True, database=None)
settings.register_profile(
    "soak", deadline=None, max_examples=3_000, suppress_health_check=list(HealthCheck),
    print_blob=True,
)  # fmt: skip
# Commands speak the locale's language, and tests read English.
os.environ["LC_ALL"] = "C.UTF-8"
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "usual"))


@pytest.fixture(scope="session")
def root() -> Path:
    """The top of the repository."""
    return Path(__file__).parents[1]
