"""Settings that every test shares."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# No deadline: other work on the same machine must not fail a property.
settings.register_profile("usual", deadline=None, max_examples=40)
settings.register_profile(
    "soak", deadline=None, max_examples=3_000, suppress_health_check=list(HealthCheck)
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "usual"))


@pytest.fixture(scope="session")
def root() -> Path:
    """The top of the repository."""
    return Path(__file__).parents[1]
