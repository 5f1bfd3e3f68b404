"""Frame by frame: what the link makes of a car that answers well, oddly, late or not at all."""

import time
from collections.abc import Sequence

import can
import pytest

from bellmouth.bus.asking import Asker
from bellmouth.bus.can_link import CanLink
from bellmouth.bus.link import Losses
from bellmouth.bus.segments import Assembly
from bellmouth.bus.wire import Wire, WireLostError
from bellmouth.errors import BusError
from tests.bus.peer import Peer, hexed
from tests.bus.wires import link_to

Frames = Sequence[tuple[float, int, str]]
RPM = hexed("010C")


def _always(*frames: tuple[float, int, str]) -> "Peer":
    """Answers every request, flow control left out."""

    def script(identifier: int, data: bytes) -> Frames:
        return frames if identifier in {0x7DF, 0x7E0} and data[0] != 0x30 else []

    return Peer(script)


@pytest.mark.parametrize("padding", ["00", "55", "AA", "CC", "FF"])
def test_padding_of_any_value_is_accepted(padding: str) -> None:
    with _always((0.0, 0x7E8, "04410C0AF0" + 3 * padding)) as peer, link_to(peer) as link:
        assert link.exchange(RPM, 0x10).answers[0].payload == hexed("410C0AF0")


def test_an_answer_without_padding_is_accepted() -> None:
    with _always((0.0, 0x7E8, "04410C0AF0")) as peer, link_to(peer) as link:
        assert link.exchange(RPM, 0x10).answers[0].payload == hexed("410C0AF0")


def test_an_answer_cut_short_is_damaged() -> None:
    with _always((0.0, 0x7E8, "04410C0A")) as peer, link_to(peer) as link:
        assert link.exchange(RPM, 0x10).answers == ()
        assert (link.losses.damaged, link.losses.unanswered) == (1, 1)


def test_interleaved_controllers_do_not_eat_each_others_frames() -> None:
    def script(identifier: int, data: bytes) -> Frames:
        if identifier == 0x7DF:
            return [
                (0.0, 0x7E8, "1014490201303050"),
                (0.0, 0x7E9, "1013490A0141424D"),
            ]
        if (identifier, data[0]) == (0x7E1, 0x30):
            return [
                (0.0, 0x7E9, "2100000000000000"),
                (0.0, 0x7E8, "2142454C4C4D3041"),
                (0.0, 0x7E9, "22000000000000AA"),
                (0.0, 0x7E8, "2250303030303031"),
            ]
        return []

    with Peer(script) as peer, link_to(peer) as link:
        answers = link.exchange(hexed("0902"), expect=1).answers
        assert [(one.source, one.payload) for one in answers] == [
            (0x10, hexed("490201303050") + b"BELLM0AP000001")
        ]
        assert link.losses.cut == 0


def test_flow_control_goes_to_the_controller_that_answers() -> None:
    def script(identifier: int, data: bytes) -> Frames:
        if identifier == 0x18DB33F1:
            return [(0.0, 0x18DAF142, "1008410C0AF00D00")]
        if identifier == 0x18DA42F1 and data[0] == 0x30:
            return [(0.0, 0x18DAF142, "21057BAAAAAAAAAA")]
        return []

    with Peer(script) as peer, link_to(peer, 29) as link:
        answers = link.exchange(hexed("010C0D05"), expect=1).answers
        assert [one.source for one in answers] == [0x42]
        assert answers[0].payload == hexed("410C0AF00D00057B")
    assert (0x18DA42F1, hexed("3000005555555555")) in peer.heard


def test_a_consecutive_frame_that_comes_twice_does_no_harm() -> None:
    def script(identifier: int, data: bytes) -> Frames:
        if data[0] == 0x30:
            cf = (0.0, 0x7E8, "210D057BAAAAAAAA")
            return [cf, cf] if identifier == 0x7E0 else []
        return [(0.0, 0x7E8, "1008410C0AF0111E")]

    with Peer(script) as peer, link_to(peer) as link:
        answers = link.exchange(hexed("010C110D"), 0x10).answers
        assert answers[0].payload == hexed("410C0AF0111E0D05")


def test_frames_in_the_wrong_order_cut_the_message() -> None:
    def script(_identifier: int, data: bytes) -> Frames:
        if data[0] == 0x30:
            return [(0.0, 0x7E8, "2250303030303031"), (0.0, 0x7E8, "2142454C4C4D3041")]
        return [(0.0, 0x7E8, "1014490201303050")]

    with Peer(script) as peer, link_to(peer) as link:
        assert link.exchange(hexed("0902"), 0x10).answers == ()
        assert link.losses.cut == 1
        assert link.losses.unanswered == 1


def test_a_missing_frame_cuts_the_message_in_the_standards_time() -> None:
    with _always((0.0, 0x7E8, "1014490201303050")) as peer, link_to(peer) as link:
        began = time.monotonic()
        assert link.exchange(hexed("0902"), 0x10).answers == ()
        assert time.monotonic() - began > 0.1
        link.exchange(hexed("0902"), 0x10)
        assert link.losses.cut >= 1


def test_response_pending_is_waited_out() -> None:
    frames = ((0.0, 0x7E8, "037F0978"), (0.6, 0x7E8, "0649004540000000"))
    with _always(*frames) as peer, link_to(peer, margin_s=0.4) as link:
        answers = link.exchange(hexed("0900"), 0x10).answers
    assert [one.payload for one in answers] == [hexed("490045400000")]


def test_a_refusal_is_an_answer_and_is_counted() -> None:
    with _always((0.0, 0x7E8, "037F0112AAAAAAAA")) as peer, link_to(peer) as link:
        assert link.exchange(RPM, 0x10).answers[0].payload == hexed("7F0112")
        assert (link.losses.refused, link.losses.unanswered) == (1, 0)


def test_a_belated_answer_is_never_taken_for_the_present_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Far from the end of the first try and from the next request, however busy the machine is.
    monkeypatch.setattr("bellmouth.bus.can_link._SETTLE_S", 1.0)
    first = True

    def script(_identifier: int, _data: bytes) -> Frames:
        nonlocal first
        if first:
            first = False
            return [(0.6, 0x7E8, "04410C1111000000")]
        return [(0.0, 0x7E8, "04410C2222000000")]

    with Peer(script) as peer, link_to(peer, margin_s=0.15) as link:
        assert link.exchange(RPM, 0x10).answers == ()
        assert link.exchange(RPM, 0x10).answers[0].payload == hexed("410C2222")
        assert link.losses.stray == 1


def test_everybody_who_answers_whether_anybody_is_there_was_asked() -> None:
    def script(identifier: int, _data: bytes) -> Frames:
        both = identifier == 0x7DF
        return [(0.001, 0x7E8 + n, "06410000000001AA") for n in range(2)] if both else []

    with Peer(script) as peer, link_to(peer) as link:
        asker = Asker(link)
        asker.ask(b"\x01\x00")
        for _ in range(3):
            asker.ask(b"\x01\x0c", 0x10)  # it keeps silent to this one parameter
        assert (asker.silence, asker.losses.stray, asker.is_wary) == (None, 0, False)


def test_what_came_unasked_before_is_thrown_away() -> None:
    with _always((0.0, 0x7E8, "04410C2222000000")) as peer, link_to(peer) as link:
        peer.say(0x7E8, "04410C1111000000")
        assert link.exchange(RPM, 0x10).answers[0].payload == hexed("410C2222")
        assert link.losses.stray == 1


def test_the_cars_own_traffic_is_no_loss() -> None:
    frames = ((0.0, 0x123, "0102"), (0.0, 0x7E8, "04410C2222000000"))
    with _always(*frames) as peer, link_to(peer) as link:
        peer.say(0x321, "0102030405060708")
        assert len(link.exchange(RPM, 0x10).answers) == 1
        assert link.losses == Losses()


def test_only_whole_requests_of_one_frame_are_sent() -> None:
    with _always() as peer, link_to(peer) as link:
        for payload in (b"", bytes(8)):
            with pytest.raises(BusError, match="it has 1 to 7"):
                link.exchange(payload)
        assert peer.heard == []


def test_a_lost_adapter_is_opened_again(monkeypatch: pytest.MonkeyPatch) -> None:
    with _always((0.0, 0x7E8, "04410C2222000000")) as peer, link_to(peer) as link:
        with monkeypatch.context() as broken:
            broken.setattr(Wire, "send", _raise)
            assert link.exchange(RPM, 0x10).answers == ()
        assert (link.losses.reopened, link.losses.unanswered) == (1, 1)
        assert len(link.exchange(RPM, 0x10).answers) == 1


def _raise(*_: object, **__: object) -> None:
    raise WireLostError("unplugged")


def test_after_bus_off_the_adapter_is_opened_again() -> None:
    """The controller's notice is the error frame of Linux' SocketCAN (linux/can/error.h)."""
    off = can.Message(arbitration_id=0x40, is_error_frame=True, dlc=8, data=bytes(8))
    awake: list[tuple[float, int, str]] = []

    def script(_identifier: int, _data: bytes) -> Frames:
        return [(0.0, 0x7E8, "04410C0AF0")] if len(peer.heard) == 1 else awake

    with Peer(script) as peer, link_to(peer) as link:
        assert link.exchange_onward(RPM, 0x10, RPM).answers
        peer.put(off)
        assert link.exchange(RPM, 0x10, expect=1).answers == ()
        assert link.losses.reopened == 1
        awake.append((0.0, 0x7E8, "04410C0AF0"))
        assert link.exchange(RPM, 0x10, expect=1).answers[0].payload == hexed("410C0AF0")
        assert link.losses.reopened == 1


def test_an_adapter_lost_as_soon_as_the_car_was_found_is_opened_again() -> None:
    off = can.Message(arbitration_id=0x40, is_error_frame=True, dlc=8, data=bytes(8))
    with _always((0.0, 0x7E8, "04410C0AF0")) as peer, link_to(peer) as link:
        assert link.exchange(RPM, expect=1).answers
        peer.put(off)
        link.start_counting()
        assert link.losses.reopened == 1
        assert link.exchange(RPM, 0x10).answers


def test_another_error_frame_is_no_end_and_no_damage() -> None:
    """What comes through has the bus's own checksum: no reading is doubted."""
    ack = can.Message(arbitration_id=0x20, is_error_frame=True, dlc=8, data=bytes(8))
    with _always((0.0, 0x7E8, "04410C0AF0")) as peer, link_to(peer) as link:
        peer.put(ack)
        assert link.exchange(RPM, 0x10, expect=1).answers
        assert (link.losses.damaged, link.losses.reopened) == (0, 0)
        assert link.losses.seen == {"errors on the bus": 1}


def test_an_adapter_that_stays_away_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(_: Wire) -> None:
        raise BusError("virtual: gone")

    with _always() as peer:
        link = CanLink(Wire("virtual", peer.channel, None, Losses()), 11, patience_s=0.2)
        monkeypatch.setattr(Wire, "send", _raise)
        monkeypatch.setattr(Wire, "reopen", gone)
        with pytest.raises(BusError, match="went away and did not come back"):
            link.exchange(RPM, 0x10)
        link.close()


def test_what_it_is_is_said() -> None:
    with _always() as peer, link_to(peer) as link:
        assert link.description == "ISO 15765-4, 11-bit, bit rate as the adapter is set"
        link.keep_alive()


def test_a_controller_that_begins_a_message_again_and_again_is_given_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("bellmouth.bus.can_link._LONGEST_MESSAGE_S", 0.3)
    begins = [(0.0, 0x7E8, "1014490201303050")]
    with Peer(lambda _identifier, _data: begins) as peer, link_to(peer) as link:
        assert link.exchange(hexed("0902"), 0x10).answers == ()
        assert link.losses.cut > 1


def test_two_messages_whose_frames_mix_are_both_thrown_away() -> None:
    """A request that came twice is answered twice, and the frames of one come late."""

    def script(_identifier: int, data: bytes) -> Frames:
        if data[0] == 0x30:
            return []
        first, second = "1009411100100000", "1009411100101111"
        return [(0.0, 0x7E8, first), (0.0, 0x7E8, second), (0.0, 0x7E8, "210C0AF000000000")]

    with Peer(script) as peer, link_to(peer) as link:
        assert link.exchange(hexed("0111100C"), 0x10).answers == ()
        assert link.losses.cut == 2


def test_what_was_begun_is_not_asked_again_and_found_however_late() -> None:
    with _always((0.0, 0x7E8, "04410C0AF0")) as peer, link_to(peer) as link:
        assert link.exchange_onward(RPM, 0x10, RPM).answers
        time.sleep(0.7)  # longer than the time for an answer
        exchange = link.exchange(RPM, 0x10, expect=1)
        assert exchange.answers[0].payload == hexed("410C0AF0")
        assert exchange.answers[0].received_s - exchange.sent_s >= 0.7
        assert len(peer.heard) == 2
        assert link.losses.total() == 0


def test_what_was_begun_in_vain_does_no_harm() -> None:
    def script(identifier: int, data: bytes) -> Frames:
        return [(0.0, 0x7E8, f"0441{data[2]:02X}0AF0")] if identifier == 0x7E0 else []

    with Peer(script) as peer, link_to(peer) as link:
        assert link.exchange_onward(hexed("0104"), 0x10, RPM).answers
        exchange = link.exchange(hexed("0110"), 0x10, expect=1)
        assert exchange.answers[0].payload == hexed("41100AF0")
        asked = [data[:3] for _, data in peer.heard]
        assert asked == [hexed("020104"), hexed("02010C"), hexed("020110")]
        assert link.losses.total() == 0


def test_an_unanswered_beginning_is_counted_and_nothing_follows_it() -> None:
    def script(_identifier: int, _data: bytes) -> Frames:
        return [(0.0, 0x7E8, "04410C0AF0")] if len(peer.heard) == 1 else []

    with Peer(script) as peer, link_to(peer) as link:
        assert link.exchange_onward(RPM, 0x10, RPM).answers
        assert link.exchange_onward(RPM, 0x10, RPM).answers == ()
        assert link.losses.unanswered == 1
        assert len(peer.heard) == 2


def _long(service_01: str) -> Frames:
    """An answer of eight bytes, in two frames, the second of them whole."""
    return [(0.0, 0x7E8, f"1008{service_01}"), (0.0, 0x7E8, "210203555555AAAA")]


def test_the_next_request_follows_a_message_of_several_frames() -> None:
    def script(_identifier: int, data: bytes) -> Frames:
        return [] if data[0] == 0x30 else _long(f"41{data[2]:02X}01010101")

    with Peer(script) as peer, link_to(peer) as link:
        for _ in range(3):
            exchange = link.exchange_onward(RPM, 0x10, RPM)
            assert [one.payload for one in exchange.answers] == [hexed("410C010101010203")]
        flow, asked = hexed("3000005555555555"), hexed("02010C5555555555")
        assert peer.after(6)[:6] == [asked, flow] * 3
        assert link.losses.total() == 0


def test_what_comes_after_a_message_that_was_no_good_is_not_taken_for_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The next request went out on the last frame, and then the library does not give it."""
    whole, given = Assembly._whole, iter([None])

    def spoilt(self: Assembly) -> bytes | None:
        found = whole(self)
        return found if found is None else next(given, found)

    def script(_identifier: int, data: bytes) -> Frames:
        return [] if data[0] == 0x30 else _long("410C01010101")

    monkeypatch.setattr(Assembly, "_whole", spoilt)
    with Peer(script) as peer, link_to(peer) as link:
        assert link.exchange_onward(RPM, 0x10, RPM).answers == ()
        assert link.losses.unanswered == 1
        second = link.exchange(RPM, 0x10, expect=1)
        assert [one.payload for one in second.answers] == [hexed("410C010101010203")]
        assert [data[0] for data in peer.after(4)] == [2, 0x30, 2, 0x30]
