"""The page on procedures knows every key, action, event and pack; its example can be read."""

import re
from pathlib import Path

import pytest

from bellmouth.learning.packs import packs
from bellmouth.learning.procedure import ACTIONS, EVENTS, WORK
from bellmouth.learning.procedure_reader import KEYS, procedure_from_text


@pytest.fixture(scope="module")
def page(root: Path) -> str:
    return (root / "docs" / "procedures.md").read_text("utf-8")


@pytest.mark.parametrize("table", list(KEYS))
def test_every_key_is_explained(page: str, table: str) -> None:
    assert [key for key in KEYS[table] if not re.search(rf"\b{key}\b", page)] == []


def test_every_action_event_work_and_pack_is_named(page: str) -> None:
    names = [*ACTIONS, *(do for deeds in ACTIONS.values() for do in deeds), *EVENTS, *WORK]
    names += [one.name for one in packs()]
    assert [name for name in names if f"`{name}`" not in page] == []


def test_the_example_is_a_procedure(page: str) -> None:
    (example,) = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    procedure = procedure_from_text(example, "procedures.md")
    assert procedure.sourced
    assert len(procedure.steps) == 5


def test_the_page_on_judging_knows_the_document(root: Path) -> None:
    text = (root / "docs" / "judging.md").read_text("utf-8")
    keys = "procedure judgement steps conditions consequence repeat advice attempts notes software"
    assert [key for key in keys.split() if f"`{key}`" not in text] == []
