"""Plain words: every cause has them, numbers keep the digits that matter."""

from dataclasses import replace

import pytest

from bellmouth.finding.causes import CAUSES
from bellmouth.finding.result import CauseProbability, Evidence, Size, With
from bellmouth.pages import words
from tests.example_finding import example_finding


@pytest.mark.parametrize("cause", ["healthy", "unexplained", *CAUSES])
def test_every_cause_has_words_of_its_own(cause: str) -> None:
    told = words.cause_words(cause)
    assert "_" not in told
    assert told != cause


def test_a_monitor_is_named_as_people_name_it() -> None:
    assert words.spoken("egr_or_vvt") == "EGR or VVT"
    assert words.spoken("oxygen_sensor_heater") == "oxygen sensor heater"


def test_names_are_english_and_tokens_stay_tokens() -> None:
    assert words.name_words("leak+learned_stale") == "leak + stale learning"
    assert words.name_words("learned_stale -> healthy") == "stale learning -> healthy"
    shown = "".join(map(words.name_words, CAUSES))
    assert "_" not in shown
    assert "learned stale" not in shown
    assert "learned_stale" in CAUSES


def test_both_members_of_a_pair_are_told() -> None:
    told = words.cause_words("leak+meter_low")
    assert words.cause_words("leak") in told
    assert words.cause_words("meter_low") in told


@pytest.mark.parametrize(
    ("probability", "told"),
    [(0.0, "under 1 %"), (0.004, "under 1 %"), (0.5, "50 %"), (0.876, "88 %"), (1.0, "over 99 %")],
)
def test_a_chance_is_never_none_or_certain(probability: float, told: str) -> None:
    assert words.chance(probability) == told


@pytest.mark.parametrize(
    ("cause", "size", "told"),
    [
        ("leak", Size(2.1, 1.8, 2.5, "mm"), "like a round hole of 2.1 mm (1.8 to 2.5)"),
        ("leak", Size(0.52, 0.4, 0.61, "mm"), "like a round hole of 0.52 mm (0.40 to 0.61)"),
        ("deposit", Size(14.2, 9.7, 21.0, "mm2"), "14 mm² (9.7 to 21) of opening lost"),
        ("meter_low", Size(0.88, 0.85, 0.91, "ratio"), "12 % below what is right (9 to 15 %)"),
        ("fuel_high", Size(1.2, 1.1, 1.4, "ratio"), "20 % above what is right (10 to 40 %)"),
        (
            "meter_low",
            Size(0.99, 0.97, 1.02, "ratio"),
            "1 % below what is right (3 % below to 2 % above)",
        ),
    ],
)
def test_a_size_is_told_in_the_words_of_its_cause(cause: str, size: Size, told: str) -> None:
    assert words.size_words(cause, size) == told


@pytest.mark.parametrize(
    ("size", "told"),
    [
        (Size(2.1, 1.8, 2.5, "mm"), "2.1 mm (1.8 to 2.5)"),
        (Size(0.88, 0.85, 0.91, "ratio"), "-12 % (-15 to -9)"),
        (Size(1.2, 1.1, 1.4, "ratio"), "+20 % (+10 to +40)"),
        (Size(0.998, 0.997, 1.001, "ratio"), "-0.2 % (-0.3 to +0.1)"),
        (Size(1.102, 1.101, 1.103, "ratio"), "+10.2 % (+10.1 to +10.3)"),
    ],
)
def test_an_interval_has_its_unit_and_a_ratio_says_how_far_it_is_off(size: Size, told: str) -> None:
    assert words.interval_words(size) == told


def test_what_led_there_names_readings_first_and_says_nothing_twice() -> None:
    said = (
        Evidence("leak: unusual", 9.0),
        Evidence("leak: total trim +20 %", 4.0, ("short_term_fuel_trim_bank_1",)),
        Evidence("meter low: total trim +20 %", 3.0, ("short_term_fuel_trim_bank_1",)),
        Evidence("leak+meter low: unusual", 2.0),
        Evidence("total trim of bank 1 disagrees at 771 rpm", -1.0, ("trim 1",)),
    )
    found = words.led_there(replace(example_finding(), evidence=said))
    assert [one.what for one in found] == [
        "leak, meter low: total trim +20 %",
        "total trim of bank 1 disagrees at 771 rpm",
        "leak, leak + meter low: unusual",
    ]


def test_the_headline_says_how_sure_what_and_how_big() -> None:
    assert words.headline(example_finding()) == (
        "Very probably (81 %): air leaks in after the meter and the throttle, "
        "like a round hole of 2.1 mm (1.8 to 2.5)."
    )


@pytest.mark.parametrize(
    ("probability", "start"),
    [
        (0.95, "Almost certainly (95 %): "),
        (0.6, "Probably (60 %): "),
        (0.3, "Not settled, but likeliest (30 %): "),
    ],
)
def test_the_headline_is_no_surer_than_the_finding(probability: float, start: str) -> None:
    finding = replace(example_finding(), causes=(CauseProbability("healthy", probability, {}),))
    assert words.headline(finding).startswith(start)


def test_the_headline_admits_that_nothing_fits() -> None:
    finding = replace(example_finding(), causes=(CauseProbability("unexplained", 0.7, {}),))
    assert words.headline(finding).startswith("No cause known here fits these readings (70 %)")


def test_the_causes_chosen_and_the_rest_are_everything() -> None:
    shown, rest = words.chosen(example_finding())
    assert sum(entry.probability for entry in shown) + rest == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("misfit", "told"),
    [
        (1.0, "as well as can be expected"),
        (2.0, "poorly"),
        (5.0, "do not fit"),
        (float("nan"), "could not be told"),
    ],
)
def test_a_misfit_is_told(misfit: float, told: str) -> None:
    assert told in words.misfit_words(misfit)


def test_the_headline_is_not_sure_where_the_readings_do_not_fit() -> None:
    finding = replace(example_finding(), misfit=4.0)
    assert words.headline(finding).startswith("The readings do not fit together")


def test_what_disagrees_is_said_beside_the_headline() -> None:
    finding = example_finding()
    assert words.at_odds(finding) == ""
    told: dict[str, With] = {
        "smoke_test": "recording",
        "relearn": "itself",
        "fuel_delivery": "recording",
    }
    assert words.at_odds(replace(finding, disagreeing=told)) == (
        "But what was checked disagrees with the recording (smoke test, fuel delivery): see Mind. "
        "But what was checked again contradicts itself (relearn): see Mind."
    )


def test_evidence_of_a_healthy_car_is_what_speaks_against_it() -> None:
    finding = example_finding()
    assert words.led_title(finding) == "What led there"
    sound = CauseProbability("healthy", 0.9, {})
    assert words.led_title(replace(finding, causes=(sound,))) == "What speaks against it"


def test_whoever_acts_on_a_finding_is_told_to_look_again() -> None:
    assert words.look_again({}) == ""
    one = words.look_again({"smoke_test": "recording", "closed_reading": "recording"})
    assert one.startswith(
        "What was checked disagrees with the recording (smoke test, closed reading): check again,"
    )
    both = words.look_again({"smoke_test": "itself", "fuel_pressure": "recording"})
    assert "recording (fuel pressure)" in both
    assert "What was checked again contradicts itself (smoke test)" in both
