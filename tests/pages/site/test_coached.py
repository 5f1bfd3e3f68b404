"""An attempt that the server follows on a car's signals: what is kept, and what makes it void."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from bellmouth.errors import BellmouthError
from bellmouth.learning.judge import judge
from bellmouth.learning.judgement import Judgement
from bellmouth.learning.packs import find_procedure
from bellmouth.pages.card_words import Words
from bellmouth.pages.site import coached
from bellmouth.pages.site.coached import Coached, Wish
from bellmouth.pages.site.live import Adapter
from bellmouth.practice.live import PracticeCar
from bellmouth.practice.wires import Served, WireChoice, serve
from bellmouth.recording.series import Recording

IDENT = "0123456789abcdef"


@pytest.fixture(autouse=True)
def unhurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """A coach that stood still rightly calls an attempt void; here it is about something else."""
    monkeypatch.setattr("bellmouth.learning.coach._VOID_S", 120.0)


class Seat:
    """A practice car on a wire, and what its attempts came to."""

    def __init__(self, car: PracticeCar, wire: Served) -> None:
        self.car, self.wire = car, wire
        self.kept: list[dict[str, Any]] = []

    def attempt(self, name: str = "pedal-released-position", **wish: Any) -> Coached:
        def keep(document: dict[str, Any]) -> str:
            self.kept.append(document)
            return "/kept"

        made = Coached(
            find_procedure(name), Adapter(self.wire.interface, self.wire.channel), keep,
            Wish(IDENT, **wish),
        )  # fmt: skip
        made.start()
        return made


@contextmanager
def seat(choice: WireChoice) -> Iterator[Seat]:
    car = PracticeCar("healthy", seed=5, coolant_c=60.0)
    with car.keep_up():
        car.do("key", 2.0)
        wait(lambda: car.awake)
        wire = serve(car, choice)
        yield Seat(car, wire)
        wire.close()
    car.close()


def wait(come: Callable[[], bool]) -> None:
    end = time.monotonic() + 60.0
    while not come():
        assert time.monotonic() < end
        time.sleep(0.02)


def key_of(attempt: Coached) -> float:
    """The key as the picture shows it now."""
    return float([value for row, _, value in attempt.trace.since(0)[1] if row == "key"][-1])


@pytest.fixture(scope="module", params=["slcan", "kline"])
def wired(request: pytest.FixtureRequest) -> Iterator[Seat]:
    with seat(WireChoice(kline=request.param == "kline")) as found:
        yield found


def test_what_the_car_shows_is_drawn_and_judged(
    wired: Seat, monkeypatch: pytest.MonkeyPatch
) -> None:
    wired.kept.clear()
    judged: list[Recording | None] = []

    def spy(recording: Recording | None, *others: Any) -> Judgement:
        judged.append(recording)
        return judge(recording, *others)

    monkeypatch.setattr(coached, "judge", spy)
    attempt = wired.attempt("idle-air-learning-by-pedal")
    assert attempt.unmet == ["Coolant 70 to 95 °C. Bring the engine to working heat, fan not "
                             "running, and begin again."]  # fmt: skip
    wait(lambda: {row for row, _, _ in attempt.trace.since(0)[1]} == {"pedal", "key", "speed"})
    ahead = attempt.windows()
    assert ahead[0]["action"] == "key_off"
    assert ahead[0]["from_s"] is None, "nothing comes before the first action"
    wired.car.do("key", 0.0)
    wait(lambda: key_of(attempt) == 0.0)
    wired.car.do("key", 2.0)
    wait(lambda: key_of(attempt) == 1.0)
    wait(lambda: attempt.progress()["phase"] != "running")
    behind = [one for one in attempt.windows() if one["done_s"] is not None]
    # The key was off for far too short: lost at once, and nobody has to stop it.
    wait(lambda: attempt.over)
    assert [(one["action"], one["lost"]) for one in behind] == [
        ("key_off", False),
        ("key_on", True),
    ]
    (document,) = wired.kept
    assert document["coached"]["phase"] == "lost"
    assert "too short" in document["coached"]["why"]
    assert document["judgement"] != "met"
    assert document["coached"]["id"] == IDENT
    (recording,) = judged
    assert recording is not None, "what was read is judged"
    assert {"engine_speed", "accelerator_pedal_position_d"} <= set(recording.series)
    assert attempt.progress()["see"] == "/kept"


def test_nobody_at_the_page_makes_it_void(wired: Seat) -> None:
    wired.kept.clear()
    attempt = wired.attempt(attended=lambda: False, words=Words("de"))
    wait(lambda: attempt.over)
    assert wired.kept[0]["judgement"] == "void"
    assert attempt.progress()["why"] == "Die Seite, die diesen Versuch führt, ist weg."


def test_a_server_that_is_ended_leaves_it_void(wired: Seat) -> None:
    wired.kept.clear()
    attempt = wired.attempt()
    attempt.close()
    assert attempt.over
    assert wired.kept[0]["judgement"] == "void"
    assert wired.kept[0]["coached"]["why"] == "The server was ended."


def test_an_adapter_that_is_pulled_out_makes_it_void() -> None:
    with seat(WireChoice()) as found:
        attempt = found.attempt()
        wait(lambda: attempt.trace.since(0)[0] > 3)
        found.wire.close()
        wait(lambda: attempt.over)
    assert found.kept[0]["judgement"] == "void"
    assert "The car is not heard any more" in found.kept[0]["coached"]["why"]


def test_a_car_that_is_not_there_is_one_sentence() -> None:
    with pytest.raises(BellmouthError):
        Coached(
            find_procedure("pedal-released-position"), Adapter("slcan", "/nowhere"), lambda _: "",
            Wish(IDENT),
        )  # fmt: skip


def test_a_tap_tells_only_what_an_ear_alone_can_tell_and_what_is_so() -> None:
    so: dict[str, bool | None] = {"plate_moves": False}
    with seat(WireChoice()) as found:
        attempt = found.attempt("throttle-closed-position", tells=so.get)
        wait(lambda: attempt.progress()["phase"] == "running")
        assert attempt.progress()["progress"]["means"] == ""
        attempt.tapped()  # nothing is awaited yet
        assert attempt.coach.session.phase == "running"
        # Moved on to where the plate is listened for, so that nobody waits for it.
        attempt.coach.awaited = lambda: "plate_moves"  # type: ignore[method-assign]
        assert attempt._means("the plate is heard to move") == "the plate is heard to move"
        so["plate_moves"] = None
        assert attempt._means("the plate is heard to move") == ""
        attempt.tapped()
        assert attempt.coach.session.told == {}
        so["plate_moves"] = True
        attempt.tapped()
        so["plate_moves"] = False
        attempt.tapped()  # told already: once more says nothing new
        assert attempt.coach.session.phase == "running"
        assert len(attempt.coach.session.told["plate_moves"]) == 1
        attempt.close()


def test_an_attempt_in_which_was_told_what_was_not_so_is_missed() -> None:
    with seat(WireChoice()) as found:
        attempt = found.attempt("throttle-closed-position", tells=lambda _: False)
        wait(lambda: attempt.progress()["phase"] == "running")
        attempt.coach.awaited = lambda: "plate_moves"  # type: ignore[method-assign]
        attempt.tapped()
        wait(lambda: attempt.over)
    (document,) = found.kept
    assert document["judgement"] == "missed"
    assert document["coached"]["marks"] == {"plate_moves": []}
    assert "when it was not so" in document["coached"]["why"]
    assert document["advice"].startswith("What you told had not happened")
