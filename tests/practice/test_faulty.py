import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.j1979 import iso14230
from bellmouth.j1979.iso14230 import Message
from bellmouth.practice.faulty import Disturbance, Passage
from bellmouth.practice.frames import Frame
from bellmouth.practice.slcan import frame_line, parse_frame

FRAME = Frame(0x7E8, bytes.fromhex("04410C1AF8AAAAAA"))
NUMBER = 4000


def passed(disturbance: Disturbance | None, number: int = NUMBER) -> list[tuple[int, bool]]:
    """Numbers that came out, a millisecond apart going in, each with whether it is damaged."""
    passage: Passage[int] = Passage(disturbance)
    out: list[tuple[int, bool]] = []
    for item in range(number):
        passage.put(item, item * 1e-3)
        out += passage.take(item * 1e-3)
    return out + passage.take(number * 1e-3 + 60.0)


def test_a_good_wire_passes_all_at_once_and_in_order() -> None:
    passage: Passage[int] = Passage()
    passage.put(1, 5.0)
    passage.put(2, 5.0)
    assert passage.wait_s(5.0) == 0.0
    assert passage.take(5.0) == [(1, False), (2, False)]
    assert passage.wait_s(5.0) is None


# Binomial: six standard deviations of NUMBER throws at 5 % are 2.1 %.
@pytest.mark.parametrize("name", ["drop", "delay", "duplicate", "reorder", "corrupt"])
def test_each_trouble_comes_as_often_as_asked(name: str) -> None:
    disturbance = Disturbance(**{name: 0.05}, seed=4)
    out = passed(disturbance)
    assert disturbance.counts[name] / NUMBER == pytest.approx(0.05, abs=0.021)
    hit = disturbance.counts[name]
    numbers = [number for number, _ in out]
    assert len(out) == NUMBER + {"drop": -hit, "duplicate": hit}.get(name, 0)
    assert sum(damaged for _, damaged in out) == (hit if name == "corrupt" else 0)
    assert (numbers == sorted(numbers)) == (name not in {"delay", "reorder"})


def test_the_same_seed_is_the_same_trouble() -> None:
    first, again, other = (
        passed(Disturbance(drop=0.1, corrupt=0.1, delay=0.1, seed=seed)) for seed in (1, 1, 2)
    )
    assert first == again != other


def test_an_unplugged_passage_forgets() -> None:
    passage: Passage[int] = Passage(Disturbance(delay=1.0))
    passage.put(1, 0.0)
    passage.clear()
    assert passage.take(60.0) == []


@pytest.mark.parametrize("chance", [-0.1, 1.5])
def test_a_chance_that_is_none_is_an_error(chance: float) -> None:
    with pytest.raises(ValueError, match=r"drop = .* is no probability; it lies within 0 to 1"):
        Disturbance(drop=chance)


@given(st.integers(0, 10_000), st.binary(max_size=8), st.booleans())
def test_no_damaged_line_is_another_frame(seed: int, data: bytes, extended: bool) -> None:
    frame = Frame(0x7E8, data, extended)
    damaged = Disturbance(seed=seed).damaged_line(frame_line(frame))
    assert parse_frame(damaged) is None


@given(st.integers(0, 10_000))
def test_a_damaged_frame_is_short_or_out_of_step(seed: int) -> None:
    frame = Frame(0x7E8, bytes.fromhex("2105AAAAAAAAAAAA"))
    damaged = Disturbance(seed=seed).damaged_frame(frame)
    assert len(damaged.data) < 8 or (damaged.data[0] >> 4 == 2 and damaged.data[0] != 0x21)


@given(st.integers(0, 10_000))
def test_a_damaged_frame_of_the_k_line_fails_its_checksum_or_length(seed: int) -> None:
    frame = iso14230.encode(Message(0xF1, 0x10, bytes.fromhex("410C1AF8")))
    damaged = Disturbance(seed=seed).damaged_bytes(frame)
    with pytest.raises(ValueError, match=r"ask again|starts no frame"):
        iso14230.decode(damaged)
