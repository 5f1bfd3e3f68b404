"""A car file is read strictly, and every refusal says where and what to do."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.car import Car, Known, car_from_mapping, read_car
from bellmouth.errors import BellmouthError, CarError

LEAST: dict[str, Any] = {"displacement_l": 2.0, "metering": "airflow"}
WHOLE = """\
displacement_l = 2.0
cylinders = 4
banks = 1
metering = "airflow"        # or "pressure"
throttle_bore_mm = { value = 60, sd = 1 }
idle_rpm = 700
closed_throttle_position_pct = 12.5
ethanol_pct = { value = 5, sd = 3 }
barometric_pressure_kpa = 101.3
altitude_m = 20
ambient_air_temperature_c = 18
turbocharged = false
complaint = "high idle"
name = "the blue one"
family = "families/two.toml"
"""


def refused(tmp_path: Path, text: str) -> str:
    path = tmp_path / "car.toml"
    path.write_text(text)
    with pytest.raises(CarError) as caught:
        read_car(path)
    return str(caught.value)


def test_every_key_is_read(tmp_path: Path) -> None:
    (tmp_path / "car.toml").write_text(WHOLE)
    (tmp_path / "families").mkdir()
    (tmp_path / "families" / "two.toml").write_text("format = 1\n")
    assert read_car(tmp_path / "car.toml") == Car(
        displacement_l=Known(2.0),
        metering="airflow",
        cylinders=4,
        banks=1,
        throttle_bore_mm=Known(60.0, 1.0),
        idle_rpm=Known(700.0),
        closed_throttle_position_pct=Known(12.5),
        ethanol_pct=Known(5.0, 3.0),
        barometric_pressure_kpa=Known(101.3),
        altitude_m=Known(20.0),
        ambient_air_temperature_c=Known(18.0),
        turbocharged=False,
        complaint="high idle",
        name="the blue one",
        family=str(tmp_path / "families" / "two.toml"),
        source="car.toml",
    )


def test_what_is_not_said_is_unknown() -> None:
    car = car_from_mapping(LEAST)
    assert car == Car(Known(2.0), "airflow", source="car")
    assert car.complaint is None


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ("bank = 1", "car.toml, line 3: unknown key bank. Did you mean banks?"),
        (
            "banks = 3",
            "car.toml, line 3: banks = 3 is impossible. It is a whole number from 1 to 2.",
        ),
        (
            "cylinders = 4.5",
            "car.toml, line 3: cylinders = 4.5 is impossible. It is a whole number from 1 to 16.",
        ),
        ('idle_rpm = "700"', 'car.toml, line 3: idle_rpm is "700", not a number.'),
        ("idle_rpm = true", "car.toml, line 3: idle_rpm is True, not a number."),
        (
            "throttle_bore_mm = 6",
            "car.toml, line 3: throttle_bore_mm = 6 is impossible. It lies between 15 and 120 mm.",
        ),
        (
            "throttle_bore_mm = nan",
            "car.toml, line 3: throttle_bore_mm = nan is impossible. "
            "It lies between 15 and 120 mm.",
        ),
        (
            "throttle_bore_mm = { value = 60, sd = -1 }",
            "car.toml, line 3: throttle_bore_mm.sd = -1 is impossible. It is 0 or more, and at "
            "most 105 mm; leave a value out that is not known.",
        ),
        (
            "throttle_bore_mm = { value = 60, sigma = 1 }",
            "car.toml, line 3: unknown key throttle_bore_mm.sigma. Write {value = 60, sd = 1}.",
        ),
        (
            "throttle_bore_mm = { sd = 1 }",
            "car.toml, line 3: throttle_bore_mm has no value. Write {value = 60, sd = 1}.",
        ),
        ("turbocharged = 1", "car.toml, line 3: turbocharged is 1. Write true or false."),
        ("name = 1", "car.toml, line 3: name is 1, not text. Put it in quotes."),
        (
            'complaint = "hi idle"',
            'car.toml, line 3: complaint "hi idle" is not known. Did you mean "high idle"? Use '
            "one of unknown, none, rough idle, low idle, high idle, hunting idle, stalls, "
            "sticking plate, lamp or lean code, after cleaning, after a battery change.",
        ),
        (
            'family = "two.toml"',
            'car.toml, line 3: family file "two.toml" is not there. It is looked for from the '
            "folder of car.toml; learn one with bellmouth family learn, or take the line out.",
        ),
        (
            'family = ""',
            'car.toml, line 3: family = "" names no file. Write family = "two.family.toml".',
        ),
        ("family = 2", "car.toml, line 3: family is 2, not text. Put it in quotes."),
        ("complaint = 3", "car.toml, line 3: complaint is 3, not text. Put it in quotes."),
    ],
)
def test_a_wrong_value_is_refused_in_one_sentence(tmp_path: Path, line: str, sentence: str) -> None:
    text = f'displacement_l = 2.0\nmetering = "airflow"\n{line}\n'
    assert refused(tmp_path, text) == sentence


@pytest.mark.parametrize("litres", [0, -2.0, 2000])
def test_an_impossible_displacement_is_refused(tmp_path: Path, litres: float) -> None:
    assert refused(tmp_path, f'displacement_l = {litres}\nmetering = "airflow"\n') == (
        f"car.toml, line 1: displacement_l = {litres:g} is impossible. "
        "It lies between 0.1 and 12 L."
    )


def test_what_is_required_is_named_with_an_example(tmp_path: Path) -> None:
    assert refused(tmp_path, 'metering = "airflow"\n') == (
        "car.toml: displacement_l is missing. Add a line such as displacement_l = 2.0."
    )
    assert refused(tmp_path, "displacement_l = 2.0\n") == (
        'car.toml: metering is missing. Add a line such as metering = "airflow".'
    )
    assert refused(tmp_path, 'displacement_l = 2.0\nmetering = "maf"\n') == (
        'car.toml, line 2: metering = "maf" is not known. Write "airflow" (an airflow meter) or '
        '"pressure" (manifold pressure).'
    )


def test_what_is_no_car_file_is_refused(tmp_path: Path) -> None:
    assert refused(tmp_path, "displacement_l 2.0").startswith("car.toml: not a TOML file (")
    told = (
        "car.toml, line 2: displacement_l has a decimal comma. Write it with a point, such as 2.0."
    )
    assert refused(tmp_path, 'metering = "airflow"\ndisplacement_l = 1,98 # litres') == told
    (tmp_path / "car.toml").write_bytes(b"\xff\xfe\0")
    with pytest.raises(CarError, match=r"^car.toml: not a text file in UTF-8\."):
        read_car(tmp_path / "car.toml")
    with pytest.raises(CarError, match=r"^none.toml: cannot be read \(No such file"):
        read_car(tmp_path / "none.toml")


VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=8),
    st.dictionaries(st.sampled_from(["value", "sd", "x"]), st.floats() | st.text(max_size=3)),
    st.lists(st.integers(), max_size=2),
)
KEYS = st.sampled_from([*Car.__dataclass_fields__, "bank", ""])


@given(values=st.dictionaries(KEYS, VALUES))
def test_any_table_gives_a_car_or_a_sentence(values: dict[str, Any]) -> None:
    sentence = None
    try:
        car = car_from_mapping(LEAST | values)
    except BellmouthError as error:
        sentence = str(error)
    else:
        assert car.displacement_l.value > 0
    assert sentence is None or sentence.startswith("car")


@given(raw=st.binary(max_size=200))
def test_any_bytes_give_a_car_or_a_sentence(
    raw: bytes, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("bytes") / "car.toml"
    path.write_bytes(raw)
    with pytest.raises(CarError, match=r"^car\.toml"):
        read_car(path)


@pytest.mark.parametrize("digits", [400, 5000])
def test_a_number_without_end_is_refused(tmp_path: Path, digits: int) -> None:
    sentence = refused(tmp_path, f'displacement_l = {"9" * digits}\nmetering = "airflow"\n')
    assert sentence.startswith("car.toml")
    assert "far too large" in sentence or "not a TOML file" in sentence


@pytest.mark.parametrize("sd", ["1e300", "inf", "-0.1", "nan"])
def test_an_impossible_doubt_is_refused(tmp_path: Path, sd: str) -> None:
    text = f'displacement_l = {{ value = 1.6, sd = {sd} }}\nmetering = "airflow"\n'
    assert refused(tmp_path, text) == (
        f"car.toml, line 1: displacement_l.sd = {float(sd):g} is impossible. It is 0 or more, and "
        "at most 11.9 L; leave a value out that is not known."
    )
