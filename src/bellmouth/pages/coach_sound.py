"""Tones and words for the coach's cues: made beforehand, played at once, bell where nothing else.

Sound needs the optional library ``sounddevice`` and a sound card. Words are spoken by
``espeak-ng`` where it is installed, rendered before the start: a word late by a syllable is worse
than none.
"""

import io
import shutil
import subprocess
import sys
import threading
import wave
from collections.abc import Callable, Iterable
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from bellmouth.learning.cues import TONES_HZ, Cue

__all__ = ["Bell", "Samples", "Tones", "open_sound", "speak", "tone"]

Samples = NDArray[np.float32]
RATE_HZ = 44_100
_LONG_S = {"tick": 0.03, "lead": 0.08, "press": 0.20, "release": 0.20, "wait": 0.12}
_STOP_S = 0.8
_SPEAKERS = ("espeak-ng", "espeak")
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


class Bell:
    """The terminal's bell for what asks for action; ticks stay silent."""

    def __init__(self, write: Callable[[str], object] | None = None) -> None:
        self._write = write or sys.stderr.write

    def sound(self, cue: Cue) -> None:
        """Ring at "now", at each press, and at the end."""
        if cue.sounds and cue.kind in ("now", "beat", "state"):
            self._write("\a")
            sys.stderr.flush()


class Tones:
    """Tones, and words where there is a voice.

    ``words`` are the phrases rendered beforehand, by text.
    """

    def __init__(self, player: Player, words: dict[str, Samples] | None = None) -> None:
        self._player = player
        self._tones = {name: tone(name) for name in TONES_HZ}
        self._words = words or {}

    def sound(self, cue: Cue) -> None:
        """Play what belongs to a cue; nothing for one that is only shown."""
        if not cue.sounds:
            return
        word = self._words.get(cue.text) if cue.kind in _SPOKEN else None
        if word is not None:
            self._player.play(word)
        if cue.tone:
            self._player.play(self._tones[cue.tone])


def speak(texts: Iterable[str]) -> dict[str, Samples]:
    """Render phrases with a voice of this computer; empty where there is none."""
    program = next((found for name in _SPEAKERS if (found := shutil.which(name))), None)
    if program is None:
        return {}
    spoken: dict[str, Samples] = {}
    for text in dict.fromkeys(texts):
        ran = subprocess.run(  # noqa: S603 - a program from PATH, no shell
            [program, "--stdout", "-s", "190", text], capture_output=True, check=False
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


class _Mixer:
    """Adds whatever is to be heard, block by block, in the sound library's own thread."""

    def __init__(self, library: Any) -> None:
        self._lock = threading.Lock()
        self._sounding: list[Samples] = []
        self._stream = library.OutputStream(
            samplerate=RATE_HZ, channels=1, dtype="float32", latency="low", callback=self._fill
        )
        self._stream.start()

    def play(self, samples: Samples) -> None:
        with self._lock:
            self._sounding.append(samples)

    def _fill(self, out: Any, frames: int, _time: object, _status: object) -> None:
        out.fill(0.0)
        with self._lock:
            left: list[Samples] = []
            for samples in self._sounding:
                now = samples[:frames]
                out[: now.size, 0] += now
                if samples.size > frames:
                    left.append(samples[frames:])
            self._sounding = left

    def close(self) -> None:
        self._stream.stop()
        self._stream.close()


def open_sound(texts: Iterable[str]) -> tuple[Bell | Tones, str, Callable[[], None]]:
    """The best sound there is, what it is in words, and what closes it."""
    try:
        import sounddevice  # type: ignore[import-not-found,import-untyped,unused-ignore]  # noqa: PLC0415

        mixer = _Mixer(sounddevice)
    except (ImportError, OSError) as error:
        why = "no sound library" if isinstance(error, ImportError) else str(error)
        return Bell(), f"the terminal's bell ({why})", lambda: None
    except Exception as error:
        # The library's own errors derive from Exception alone; there is no sound card then.
        if type(error).__name__ != "PortAudioError":
            raise
        return Bell(), f"the terminal's bell (no sound card: {error})", lambda: None
    words = speak(texts)
    told = "tones and words" if words else "tones; install espeak-ng for words"
    return Tones(mixer, words), told, mixer.close
