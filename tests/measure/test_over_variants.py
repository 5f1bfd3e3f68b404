"""What may be asked of a table over variants."""

import pytest

from measure.over_variants import asked


def test_without_arguments_the_variants_of_development_are_taken() -> None:
    assert asked("together", None, []).variants == "ABC"


@pytest.mark.parametrize("variants", ["AE", "F", ""])
def test_other_variants_are_refused(variants: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        asked("together", None, ["--variants", variants])
    assert "letters of ABC; the others are kept for the end" in capsys.readouterr().err


def test_the_last_run_may_have_them_all() -> None:
    assert asked("together", None, ["--variants", "E", "--final"]).variants == "E"
    with pytest.raises(SystemExit):
        asked("together", None, ["--variants", "F", "--final"])
