"""Headers and mappings: what each cell claims, and what a mapping may not claim."""

import pytest

from bellmouth.errors import RecordingError
from bellmouth.recording.header import read_header

TITLES = ("time [s]", "Drehzahl", "mass_air_flow [g/s]")


def test_a_mapping_names_a_column_for_us() -> None:
    header = read_header(TITLES, {"Drehzahl": "engine_speed [rpm]"}, "de.csv")
    assert [column.name for column in header.columns] == ["engine_speed", "mass_air_flow"]


def test_a_mapping_of_a_column_that_is_not_there_is_refused() -> None:
    """A typing mistake on the left side would otherwise drop the column without a word."""
    with pytest.raises(RecordingError) as caught:
        read_header(TITLES, {"Drezahl": "engine_speed [rpm]"}, "de.csv")
    assert str(caught.value) == (
        'de.csv, line 1: the mapping names the column "Drezahl", which is not there. '
        'Did you mean "Drehzahl"?'
    )
