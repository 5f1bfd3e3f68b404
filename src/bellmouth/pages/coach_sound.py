"""Tones and words for the coach's cues: made and placed beforehand, bell where nothing else.

Sound needs the optional library ``sounddevice`` and a sound card. Words are spoken by
``espeak-ng`` where it is installed, rendered before the start: a word late by a syllable is worse
than none.
"""

import io
import os
import shutil
import subprocess
import sys
import wave
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from bellmouth.learning.cues import TONES_HZ, Cue
from bellmouth.pages.coach_mixer import BUFFER_S, RATE_HZ, Mixer, Samples

if TYPE_CHECKING:
    from bellmouth.learning.ringing import Ringing

__all__ = ["Bell", "Tones", "asks_for_action", "open_sound", "speak", "tone"]

_LONG_S = {"tick": 0.03, "lead": 0.08, "press": 0.20, "release": 0.20, "wait": 0.12}
_STOP_S = 0.8
_SPEAKERS = ("espeak-ng", "espeak")
#: Why there is the bell alone, and what to do about it.
NO_LIBRARY = "no sound library; for tones install sounddevice, for spoken words espeak-ng"
_SPOKEN = ("say", "lead", "soon", "state")


class Player(Protocol):
    """What makes samples heard."""

    def play(self, samples: Samples) -> None:
        """Play them from now on, over whatever still sounds."""
        ...


def tone(name: str) -> Samples:
    """A tone's samples, full scale 1; press rises, release falls, stop beats. Mono, 44.1 kHz."""
    length = _LONG_S.get(name, _STOP_S)
    time = np.arange(int(RATE_HZ * length)) / RATE_HZ
    pitch = TONES_HZ[name] * np.ones_like(time)
    if name in ("press", "release"):
        pitch *= 1.0 + (0.25 if name == "press" else -0.25) * time / length
    wave_ = np.sin(2.0 * np.pi * np.cumsum(pitch) / RATE_HZ)
    if name == "stop":
        wave_ *= np.sign(np.sin(2.0 * np.pi * 5.0 * time)) * 0.5 + 0.5
    fade = np.minimum(1.0, np.minimum(time, length - time) / 0.004)
    return (0.6 * wave_ * fade).astype(np.float32)


def asks_for_action(cue: Cue) -> bool:
    """Whether a cue is rung where there is nothing but a bell."""
    return cue.sounds and cue.kind in ("now", "beat", "state")


class Bell:
    """The terminal's bell for what asks for action; ticks stay silent.

    ``ringing`` rings at moments that it was told beforehand; ``rings`` says for which cues.
    """

    def __init__(
        self,
        write: Callable[[str], object] | None = None,
        ringing: "Ringing | None" = None,
        rings: Callable[[Cue], bool] = asks_for_action,
    ) -> None:
        self._write = write or sys.stderr.write
        self._ringing, self._rings = ringing, rings
        self._placed: dict[Cue, int] = {}

    def place(self, cue: Cue, at_s: float) -> None:
        """See :class:`bellmouth.learning.coach.Placing`."""
        if self._ringing is None or not self._rings(cue):
            return
        token = self._ringing.place("\a", at_s)
        if token is not None:
            self._placed[cue] = token

    def withdraw(self, cue: Cue) -> None:
        """See :class:`bellmouth.learning.coach.Placing`."""
        token = self._placed.pop(cue, None)
        if token is not None and self._ringing is not None:
            self._ringing.withdraw(token)

    def sound(self, cue: Cue) -> None:
        """Ring at "now", at each press, and at the end, where that was not placed."""
        if self._placed.pop(cue, None) is None and self._rings(cue):
            self._write("\a")
            sys.stderr.flush()


class Tones:
    """Tones, and words where there is a voice.

    ``words`` are the phrases rendered beforehand, by text. ``ahead`` plays what is placed, at its
    exact moment; without it nothing is placed.
    """

    def __init__(
        self,
        player: Player,
        words: dict[str, Samples] | None = None,
        ahead: Mixer | None = None,
    ) -> None:
        self._player, self._ahead = player, ahead
        self._tones = {name: tone(name) for name in TONES_HZ}
        self._words = words or {}
        self._placed: dict[Cue, list[int]] = {}

    def place(self, cue: Cue, at_s: float) -> None:
        """See :class:`bellmouth.learning.coach.Placing`."""
        if self._ahead is None:
            return
        # Word and tone begin together: both are placed, or neither and they come when called.
        tokens = [self._ahead.place(one, at_s) for one in self._heard(cue)]
        placed = [token for token in tokens if token is not None]
        self._placed[cue] = placed
        if len(placed) < len(tokens):
            self.withdraw(cue)

    def withdraw(self, cue: Cue) -> None:
        """See :class:`bellmouth.learning.coach.Placing`."""
        for token in self._placed.pop(cue, ()):
            if self._ahead is not None:
                self._ahead.withdraw(token)

    def sound(self, cue: Cue) -> None:
        """Play what belongs to a cue and was not placed; nothing for one that is only shown."""
        if self._placed.pop(cue, None) is None:
            for samples in self._heard(cue):
                self._player.play(samples)

    def _heard(self, cue: Cue) -> list[Samples]:
        if not cue.sounds:
            return []
        word = self._words.get(cue.text) if cue.kind in _SPOKEN else None
        tones = [self._tones[cue.tone]] if cue.tone else []
        return tones if word is None else [word, *tones]


def speak(called: Mapping[str, str], language: str = "en") -> dict[str, Samples]:
    """Render phrases, by what a cue says and how it is told, with a voice of this computer.

    Empty where there is none.
    """
    program = next((found for name in _SPEAKERS if (found := shutil.which(name))), None)
    if program is None:
        return {}
    spoken: dict[str, Samples] = {}
    for text, told in called.items():
        ran = subprocess.run(  # noqa: S603 - a program from PATH, no shell
            [program, "--stdout", "-v", language, "-s", "190", told],
            capture_output=True,
            check=False,
        )
        samples = _read_wave(ran.stdout) if ran.returncode == 0 else None
        if samples is not None:
            spoken[text] = samples
    return spoken


def _read_wave(data: bytes) -> Samples | None:
    try:
        with wave.open(io.BytesIO(data)) as file:
            rate, frames = file.getframerate(), file.readframes(10_000_000)
    except (wave.Error, EOFError):
        return None
    heard = np.frombuffer(frames, dtype="<i2").astype(np.float32) / 32_768.0
    loud = np.flatnonzero(np.abs(heard) > 0.02)
    # Silence before the first sound would make every word late.
    heard = heard[loud[0] :] if loud.size else heard
    at = np.arange(int(heard.size * RATE_HZ / rate)) * rate / RATE_HZ
    return np.asarray(np.interp(at, np.arange(heard.size), heard), dtype=np.float32)


def open_sound(
    called: Mapping[str, str], language: str = "en", *, ahead: bool = False
) -> tuple[Bell | Tones, str, Callable[[], None]]:
    """The best sound there is, what it is in words, and what closes it.

    ``called`` are the words of cues and how they are told in the language. With ``ahead`` cues can
    be placed, on the computer's own monotonic clock.
    """
    try:
        import sounddevice  # type: ignore[import-not-found,import-untyped,unused-ignore]  # noqa: PLC0415

        mixer = Mixer(sounddevice, "low")
    except (ImportError, OSError) as error:
        why = NO_LIBRARY if isinstance(error, ImportError) else str(error)
        return _bell(why, ahead=ahead)
    except Exception as error:
        # The library's own errors derive from Exception alone; there is no sound card then.
        if type(error).__name__ != "PortAudioError":
            raise
        return _bell(f"no sound card: {error}", ahead=ahead)
    words = speak(called, language)
    told = "tones and words" if words else "tones; install espeak-ng for words"
    later = _second(sounddevice, mixer) if ahead else None

    def close() -> None:
        mixer.close()
        if later is not None and later is not mixer:
            later.close()

    return Tones(mixer, words, later), told, close


def _bell(why: str, *, ahead: bool) -> tuple[Bell, str, Callable[[], None]]:
    told = f"the terminal's bell ({why})"
    if not ahead or os.name != "posix":
        return Bell(), told, lambda: None
    from bellmouth.learning.ringing import Ringing  # noqa: PLC0415 - not on every system

    ringing = Ringing()

    def close() -> None:
        ringing.close()

    return Bell(ringing=ringing), told, close


def _second(library: Any, mixer: Mixer) -> Mixer:
    """A stream with a long buffer for what is placed; the first where there is only one."""
    try:
        return Mixer(library, BUFFER_S)
    except Exception as error:
        if type(error).__name__ != "PortAudioError":
            raise
        return mixer
