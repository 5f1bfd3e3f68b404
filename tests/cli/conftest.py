"""A command line to type on, and files to give it."""

from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from bellmouth.cli import main

Run = Callable[..., Result]


@pytest.fixture
def run() -> Run:
    """Run a command in this process; ``run("find", "x.csv")``."""

    def typed(*words: str | Path) -> Result:
        return CliRunner().invoke(main, [str(word) for word in words])

    return typed


@pytest.fixture(scope="session")
def demo() -> Path:
    """The folder of the packaged recording and its car."""
    return Path(str(files("bellmouth") / "data" / "demo"))


@pytest.fixture(scope="session")
def recording(demo: Path) -> Path:
    """A recording that a finding can be asked of."""
    return demo / "recording.csv"


@pytest.fixture(scope="session")
def car(demo: Path) -> Path:
    """The car of ``recording``."""
    return demo / "car.toml"
