"""What the book says of an entry in a few words."""

import pytest

from bellmouth.pages.book_document import finding_gist


@pytest.mark.parametrize(
    ("cause", "metering", "told"),
    [
        ("meter_low", "airflow", "meter low, 93 %"),
        ("meter_low", "pressure", "computed air low, 93 %"),
        ("leak+learned_stale", "airflow", "leak + stale learning, 93 %"),
    ],
)
def test_a_finding_is_told_as_people_call_it(cause: str, metering: str, told: str) -> None:
    kept = {"causes": [{"cause": cause, "probability": 0.93}]}
    assert finding_gist(kept, metering) == told


def test_a_check_that_disagrees_is_told_of_a_kept_finding() -> None:
    kept = {
        "causes": [{"cause": "leak", "probability": 0.999}],
        "disagreeing": {"smoke_test": "recording"},
    }
    assert finding_gist(kept, "airflow") == "leak, over 99 %; but a check disagrees (smoke test)"
