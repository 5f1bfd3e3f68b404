"""One family of errors, and how a value is shown in a sentence of any of them."""

from pathlib import Path

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


@pytest.mark.parametrize(
    "refused",
    [
        FileNotFoundError(2, "No such file or directory", ".out.1.csv"),
        FileNotFoundError("No such file or directory (os error 2): .out.1.csv"),
    ],
)
def test_what_the_disk_refuses_beside_is_told_of_the_place(refused: OSError) -> None:
    with pytest.raises(FileNotFoundError) as caught, errors.told_of(Path("out.csv")):
        raise refused
    assert (caught.value.filename, caught.value.errno) == ("out.csv", 2)
    assert ".out.1" not in str(caught.value)


def test_a_refusal_without_a_number_keeps_its_words() -> None:
    with pytest.raises(OSError, match="the library said so") as caught, errors.told_of(Path("o")):
        raise OSError("the library said so")
    assert caught.value.filename == "o"
