"""The data files say what the code reads, and nothing that it does not."""

from collections.abc import Mapping
from typing import Any

import pytest

from bellmouth.finding.causes import CAUSES
from bellmouth.learning.procedure import WORK
from bellmouth.work import WORKS
from bellmouth.work.content import FILES, content, content_texts
from bellmouth.work.works import called_for

_STEP = {
    "name", "stage", "for", "unless", "say", "values", "cautions", "timer", "blanks", "shows",
    "made_from", "causes",
}  # fmt: skip
_TABLES = {
    "before_after", "materials", "memories", "tally", "solvents", "tightening", "learning",
}  # fmt: skip


def _rows() -> list[Mapping[str, Any]]:
    materials = content("materials")
    kinds = ("material", "solvent", "tally")
    return [*content("steps")["step"], *(row for kind in kinds for row in materials[kind])]


def test_every_work_that_a_row_names_exists() -> None:
    for row in _rows():
        assert set(row.get("for", [])) | set(row.get("unless", [])) <= set(WORKS), row


def test_every_step_is_known_throughout() -> None:
    stages = {stage["name"] for stage in content("steps")["stage"]}
    names = [step["name"] for step in content("steps")["step"]]
    assert len(names) == len(set(names))
    for step in content("steps")["step"]:
        assert set(step) <= _STEP, step["name"]
        assert step["stage"] in stages
        assert step.get("shows") in {None, *_TABLES}
        assert set(step.get("causes", [])) <= set(CAUSES)


def test_every_caution_is_shown_at_some_step_and_every_step_names_known_ones() -> None:
    named = {name for step in content("steps")["step"] for name in step.get("cautions", [])}
    assert named == {name for name in content("cautions") if name != "values"}


def test_every_place_in_a_text_has_its_value() -> None:
    for step in content("steps")["step"]:
        values = step.get("values", {})
        step["say"].format(**values)
        for told in step.get("made_from", {}).values():
            told["say"].format(**values, recording="rec.csv")
    for name, text in content("cautions").items():
        if name != "values":
            text.format(**content("cautions")["values"].get(name, {}))


def test_the_rules_name_known_causes_and_works() -> None:
    works = content("works")
    known = {*CAUSES, "healthy", "unexplained"}
    assert {rule["name"] for rule in works["cause"]} == known
    for rule in works["cause"]:
        assert set(rule.get("works", [])) | set(rule.get("stops", [])) <= set(WORKS)
        assert rule.get("works") or rule.get("hand_over")
    for rule in works["objection"]:
        assert set(rule["has"]) | set(rule.get("lacks", [])) <= set(WORKS)
        assert set(rule.get("causes", [])) <= set(CAUSES)
    assert {work["does"] for work in works["work"] if "does" in work} <= set(WORK)


@pytest.mark.parametrize("name", FILES)
def test_every_file_has_texts_and_none_is_empty(name: str) -> None:
    texts = [text for source, text in content_texts() if source == f"{name}.toml"]
    assert texts
    assert all(text.strip() == text and text for text in texts)


def test_no_text_gives_a_torque() -> None:
    for _, text in content_texts():
        assert "N m" not in text
        assert "Nm" not in text
        assert "lb" not in text.split()


@pytest.mark.parametrize(
    ("done", "called"),
    [
        (["clean_plate"], ("throttle_cleaned",)),
        (["Clean-Plate ", "relearn"], ("throttle_cleaned",)),
        (["reseal", "clean_plate", "reseal"], ("leak_mended", "throttle_cleaned")),
        (["relearn"], ("learned_stale",)),
        (["battery_disconnected"], ("battery_disconnected",)),
        ([], ()),
    ],
)
def test_what_works_are_to_learning_procedures(done: list[str], called: tuple[str, ...]) -> None:
    assert called_for(done) == called
