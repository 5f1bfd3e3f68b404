"""Whole messages out of frames: only the last frame of a message may be short."""

import pytest

from bellmouth.bus.link import Losses
from bellmouth.bus.segments import Assembly
from tests.bus.peer import hexed


@pytest.fixture
def losses() -> Losses:
    return Losses()


@pytest.fixture
def assembly(losses: Losses) -> Assembly:
    return Assembly(0x10, 11, lambda _, __: None, losses)


def test_a_message_of_several_frames_comes_whole(assembly: Assembly, losses: Losses) -> None:
    """ISO 15765-2 by can-isotp 2.0.7, as in the table of frames: 20 bytes."""
    assert assembly.feed(hexed("1014490201314731")) is None
    assert assembly.feed(hexed("214A433534343452")) is None
    assert assembly.feed(hexed("2237323532333637")) == hexed(
        "4902013147314A43353434345237323532333637"
    )
    assert losses.total() == 0


def test_the_last_frame_may_be_short(assembly: Assembly, losses: Losses) -> None:
    assert assembly.feed(hexed("1008410C1AF80D00")) is None
    assert assembly.feed(hexed("21057B")) == hexed("410C1AF80D00057B")
    assert losses.total() == 0


@pytest.mark.parametrize("short", ["21474849", "21", "2147484940414B"])
def test_a_middle_frame_that_is_short_is_damaged(
    assembly: Assembly, losses: Losses, short: str
) -> None:
    """Otherwise what it lacks would be made up from the padding of the frame after it."""
    assert assembly.feed(hexed("1014490201314731")) is None
    assert assembly.feed(hexed(short)) is None
    assert assembly.feed(hexed("2237323532333637")) is None
    assert losses.damaged >= 1


def test_the_last_frame_too_short_is_damaged(assembly: Assembly, losses: Losses) -> None:
    assert assembly.feed(hexed("1008410C1AF80D00")) is None
    assert assembly.feed(hexed("2105")) is None
    assert losses.damaged == 1


def test_flow_control_goes_out_once_whoever_was_quicker(losses: Losses) -> None:
    """We do not wait for the library to say it; then it need not say it."""
    sent: list[tuple[int, bytes]] = []
    assembly = Assembly(0x10, 11, lambda *frame: sent.append(frame), losses)
    for _ in range(2):
        assembly.feed(hexed("1014490201314731"))
        assembly.feed(hexed("214A433534343452"))
        assert assembly.feed(hexed("2237323532333637")) is not None
    assert sent == [(0x7E0, hexed("3000005555555555"))] * 2


def test_a_message_too_long_for_anybody_is_declined_by_the_library(losses: Losses) -> None:
    """Length 0 stands for one of four bytes, here 65,536: flow control says overflow."""
    sent: list[tuple[int, bytes]] = []
    assembly = Assembly(0x10, 11, lambda *frame: sent.append(frame), losses)
    assert assembly.feed(hexed("1000000100004902")) is None
    assert [data[:1] for _, data in sent] == [b"\x32"]
    assert not assembly.is_receiving


def test_only_the_last_frame_in_its_turn_makes_a_message_whole(assembly: Assembly) -> None:
    second, third = hexed("214A433534343452"), hexed("2237323532333637")
    assert not assembly.completes(third)
    assembly.feed(hexed("1014490201314731"))
    assert assembly.head == hexed("490201314731")
    assert not assembly.completes(second)
    assert not assembly.completes(third)  # the one before it is missing
    assembly.feed(second)
    assert not assembly.completes(second)
    assert not assembly.completes(third[:7])  # a byte short
    assert assembly.completes(third)
    assert assembly.feed(third) is not None
    assert not assembly.completes(third)
