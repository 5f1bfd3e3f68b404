"""The JSON Schema for editors and the reader say the same."""

import copy
import json
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from bellmouth.errors import ProcedureError
from bellmouth.learning import procedure_reader
from bellmouth.learning.procedure import ACTIONS, WORK
from bellmouth.learning.procedure_reader import KEYS, REQUIRED
from bellmouth.learning.toml_table import Lines, Table

PACKS = sorted(
    entry.name
    for entry in (files("bellmouth.learning") / "packs").iterdir()
    if entry.name.endswith(".toml")
)


@pytest.fixture(scope="module")
def schema(root: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((root / "docs" / "procedure.schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(found)
    return found


def _pack(name: str) -> dict[str, Any]:
    text = (files("bellmouth.learning") / "packs" / name).read_text("utf-8")
    return tomllib.loads(text)


@pytest.mark.parametrize("name", PACKS)
def test_every_pack_follows_the_schema(schema: dict[str, Any], name: str) -> None:
    jsonschema.validate(_pack(name), schema)


@pytest.mark.parametrize("table", [name for name in KEYS if name not in ("", "window")])
def test_both_know_the_same_keys(schema: dict[str, Any], table: str) -> None:
    described = schema["$defs"][table]
    assert set(described["properties"]) == set(KEYS[table])
    assert set(described["required"]) == set(REQUIRED[table])
    assert described["additionalProperties"] is False


def test_both_know_the_same_keys_at_the_top(schema: dict[str, Any]) -> None:
    assert set(schema["properties"]) == set(KEYS[""])
    assert set(schema["required"]) == set(REQUIRED[""])


def test_both_know_the_same_windows(schema: dict[str, Any]) -> None:
    forms = schema["$defs"]["window"]["oneOf"]
    assert {key for form in forms for key in form["properties"]} == set(KEYS["window"])


def test_both_know_the_same_actions_and_work(schema: dict[str, Any]) -> None:
    step = schema["$defs"]["step"]
    assert step["properties"]["who"]["enum"] == list(ACTIONS)
    told = {one["if"]["properties"]["who"]["const"]: one["then"] for one in step["allOf"]}
    for who, deeds in ACTIONS.items():
        assert told[who]["properties"]["do"]["enum"] == list(deeds)
    assert schema["properties"]["called_for_by"]["items"]["enum"] == list(WORK)


def _mutants(document: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """The document with one thing wrong or missing in each; what is wrong first."""
    found = []

    def mutant(what: str) -> dict[str, Any]:
        changed = copy.deepcopy(document)
        found.append((what, changed))
        return changed

    for key in document:
        del mutant(f"no {key}")[key]
        mutant(f"{key} is a number")[key] = 1.5
    mutant("strange key")["strange"] = "x"
    for kind in ("step", "before", "throughout", "sign", "repeat"):
        for index, entry in enumerate(document.get(kind, [])[:2]):
            mutant(f"{kind} strange")[kind][index]["strange"] = 1
            for key in entry:
                del mutant(f"{kind} {index} no {key}")[kind][index][key]
                mutant(f"{kind} {index} {key} empty")[kind][index][key] = ""
                mutant(f"{kind} {index} {key} list")[kind][index][key] = [1]
                mutant(f"{kind} {index} {key} -1")[kind][index][key] = -1
    return found


@pytest.mark.parametrize(
    "name", ["idle-air-learning-by-pedal.toml", "pedal-released-position.toml"]
)
def test_both_refuse_the_same_shapes(schema: dict[str, Any], name: str) -> None:
    """Whatever the schema refuses, the reader does; the reader alone looks at meaning too."""
    checker = jsonschema.Draft202012Validator(schema)
    for what, document in _mutants(_pack(name)):
        refusal = ""
        try:
            procedure_reader._procedure(_top(document))
        except ProcedureError as error:
            refusal = str(error)
        if not checker.is_valid(document):
            assert refusal, what
        elif refusal:
            meaning = ("no step", "neither an earlier", "write unit", "is no step", "nothing meets")
            assert any(word in refusal for word in meaning), f"{what}: {refusal}"


def _top(document: dict[str, Any]) -> Table:
    top = Table(document, "mutant", Lines(""))
    top.only(KEYS[""], REQUIRED[""])
    return top
