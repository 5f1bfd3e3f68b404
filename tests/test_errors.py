"""One family of errors, and how a value is shown in a sentence of any of them."""

import pytest

from bellmouth import errors


@pytest.mark.parametrize("name", [name for name in errors.__all__ if name.endswith("Error")])
def test_every_error_is_of_the_one_family(name: str) -> None:
    assert issubclass(getattr(errors, name), errors.BellmouthError)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (2.0, "2.0"),
        ("two", '"two"'),
        (["a", "b"], "['a', 'b']"),
        ("x" * 38, '"' + "x" * 38 + '"'),
        ("x" * 39, '"' + "x" * 36 + "..."),
    ],
)
def test_a_value_is_shown_as_it_was_written_and_not_for_lines(value: object, text: str) -> None:
    assert errors.shown(value) == text
