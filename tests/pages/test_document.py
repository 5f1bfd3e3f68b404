"""The JSON document keeps its contract."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

import bellmouth
from bellmouth.finding.result import Finding
from bellmouth.pages.document import finding_document, to_json
from tests.example_finding import example_finding


@pytest.fixture(scope="module")
def schema(root: Path) -> dict[str, Any]:
    read: dict[str, Any] = json.loads((root / "docs" / "finding.schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(read)
    return read


def _read_back(finding: Finding) -> dict[str, Any]:
    def refuse(word: str) -> float:
        raise AssertionError(f"{word} is not JSON")

    read: dict[str, Any] = json.loads(to_json(finding_document(finding)), parse_constant=refuse)
    return read


def test_the_document_follows_its_schema(schema: dict[str, Any]) -> None:
    jsonschema.validate(_read_back(example_finding()), schema)


def test_checks_that_disagree_are_named_where_there_are_any(schema: dict[str, Any]) -> None:
    assert "disagreeing" not in _read_back(example_finding())
    document = _read_back(replace(example_finding(), disagreeing={"smoke_test": "recording"}))
    jsonschema.validate(document, schema)
    assert document["disagreeing"] == {"smoke_test": "recording"}


@pytest.mark.parametrize("missing", ["causes", "prior", "present", "next_checks", "software"])
def test_the_schema_misses_what_is_missing(schema: dict[str, Any], missing: str) -> None:
    document = _read_back(example_finding())
    del document[missing]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, schema)


def test_half_a_sign_is_escaped_and_comes_back() -> None:
    text = to_json({"source": "caf\udce9.csv"})
    assert text.encode()
    assert json.loads(text) == {"source": "caf\udce9.csv"}


def test_the_document_holds_what_the_finding_holds() -> None:
    document = _read_back(example_finding())
    assert document["causes"][0] == {
        "cause": "leak",
        "probability": 0.81,
        "sizes": {"leak": {"value": 2.1, "low": 1.8, "high": 2.5, "unit": "mm"}},
        "confusable_with": ["leak+meter_low"],
    }
    assert document["software"] == {"name": "bellmouth", "version": bellmouth.__version__}
    assert document["next_checks"][0]["check"] == "smoke"
    assert document["prior"] == dict(example_finding().prior)


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_a_number_that_is_not_finite_becomes_null(value: float) -> None:
    document = _read_back(replace(example_finding(), misfit=value))
    finite = value == value and abs(value) != float("inf")  # noqa: PLR0124 - NaN alone differs
    assert document["misfit"] == (value if finite else None)
