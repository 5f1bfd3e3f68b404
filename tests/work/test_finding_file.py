"""A finding read back from its JSON document."""

import json
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.errors import FindingError
from bellmouth.pages.document import finding_document, to_json
from bellmouth.work import make_card, read_finding
from tests.example_finding import example_car, example_finding

_ASK = "Give the document that bellmouth find --json prints."


def _written(folder: Path, document: Any) -> Path:
    path = folder / "finding.json"
    path.write_text(json.dumps(document), "utf-8")
    return path


def test_a_finding_makes_the_same_card_from_its_file(tmp_path: Path) -> None:
    path = tmp_path / "finding.json"
    path.write_text(to_json(finding_document(example_finding())), "utf-8")
    read = read_finding(path)
    written = example_finding()
    assert [(c.cause, c.probability, dict(c.sizes)) for c in read.causes] == [
        (c.cause, c.probability, dict(c.sizes)) for c in written.causes
    ]
    assert read.present == written.present
    assert make_card(example_car(), read) == make_card(example_car(), written)


@pytest.mark.parametrize(
    ("document", "sentence"),
    [
        ([], "not a finding: it has no list of causes."),
        ({}, "not a finding: it has no list of causes."),
        ({"causes": []}, "the causes' probabilities sum to 0.00, not to 1."),
        ({"causes": [{}]}, "a cause has no name."),
        (
            {"causes": [{"cause": "leak", "probability": 1}], "present": ["leak"]},
            "present is not a table of causes and probabilities.",
        ),
        (
            {"causes": [{"cause": "leak", "probability": 2}]},
            "the probability of leak is not a number from 0 to 1.",
        ),
        (
            {"causes": [{"cause": "leak", "probability": 1, "sizes": {"leak": {"value": 1}}}]},
            "the size of leak has no unit.",
        ),
        (
            {
                "causes": [
                    {
                        "cause": "leak",
                        "probability": 1,
                        "sizes": {"leak": {"value": 1, "low": 1, "unit": "mm"}},
                    }
                ]
            },
            "the size of leak has no high.",
        ),
        (
            {"causes": [{"cause": "leak+gremlins", "probability": 1}]},
            '"leak+gremlins" is no cause that this Bellmouth knows.',
        ),
        (
            {
                "causes": [
                    {
                        "cause": "leak",
                        "probability": 1,
                        "sizes": {"leak": {"value": 1e300, "low": 1, "high": 2, "unit": "mm"}},
                    }
                ]
            },
            "the size of leak is impossible: its value is 1e+300.",
        ),
        (
            {"causes": [{"cause": "leak", "probability": 1}], "present": {"leak": "x"}},
            "the probability of present.leak is not a number from 0 to 1.",
        ),
        (
            {"causes": [{"cause": "leak", "probability": 1}], "disagreeing": {"smoke_test": []}},
            "disagreeing is not a table of checks and what they disagree with.",
        ),
    ],
)
def test_what_is_not_a_finding_is_one_clear_sentence(
    document: Any, sentence: str, tmp_path: Path
) -> None:
    with pytest.raises(FindingError) as error:
        read_finding(_written(tmp_path, document))
    assert str(error.value) == f"finding.json: {sentence} {_ASK}"


def test_checks_that_disagree_are_read_back(tmp_path: Path) -> None:
    odd = replace(example_finding(), disagreeing={"smoke_test": "recording"})
    document = json.loads(to_json(finding_document(odd)))
    read = read_finding(_written(tmp_path, document))
    assert read.disagreeing == {"smoke_test": "recording"}
    assert make_card(example_car(), read) == make_card(example_car(), odd)


def test_a_size_without_an_end_is_left_out(tmp_path: Path) -> None:
    size = {"value": 1.0, "low": 0.5, "high": None, "unit": "mm"}
    entry = {"cause": "leak", "probability": 1, "sizes": {"leak": size}}
    assert read_finding(_written(tmp_path, {"causes": [entry]})).causes[0].sizes == {}


def test_a_file_that_is_not_there_or_not_json_says_so(tmp_path: Path) -> None:
    with pytest.raises(FindingError, match=r"^gone.json: cannot be read \(No such file"):
        read_finding(tmp_path / "gone.json")
    (tmp_path / "x.json").write_bytes(b"\xff\x00{")
    with pytest.raises(FindingError, match=r"^x.json: not a JSON document. bellmouth find REC"):
        read_finding(tmp_path / "x.json")


_JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["causes", "cause", "probability", "sizes", "present", "leak", "unit"]),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@given(
    document=st.fixed_dictionaries(
        {"causes": st.lists(_JSON, max_size=3), "present": _JSON, "disagreeing": _JSON}
    )
)
def test_no_document_brings_anything_but_a_finding_or_a_sentence(
    document: Any, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = _written(tmp_path_factory.mktemp("odd"), document)
    with suppress(FindingError):
        assert read_finding(path).causes
