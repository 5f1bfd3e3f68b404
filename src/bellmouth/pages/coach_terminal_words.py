"""Fixed words of the coach in a terminal: introduction, screen, questions, what came of it."""

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["TERMINAL_WORDS"]

#: By name; what stands in braces is filled in.
TERMINAL_WORDS: Mapping[str, str] = MappingProxyType(
    {
        # The introduction
        "caution": "Caution",
        "lose": "What you lose",
        "erases": "It erases: {what}.",
        "standing": "Before you start, and standing",
        "wrong": "If anything feels wrong: {state}",
        "driving": "Nobody looks at a screen while driving.",
        "checked": "Have you checked this in the car's own manual?",
        "stands": "Does all of this stand?",
        "sound": "Sound: {sound}. Attempts are kept in {folder}.",
        "silent": "none, so that the plate can be heard",
        "tones": "tones and words",
        "no_words": "tones; install espeak-ng for words",
        "bell": "the terminal's bell ({why})",
        "no_library": "no sound library; for tones install sounddevice, for spoken words espeak-ng",
        # The screen
        "place": "step {n} of {of}",
        "ready": "get ready",
        "hand": "Hand on the key, foot by the pedal.",
        "call": "Call: {what}",
        "until": "Until {event}: press any key when it does; {time} at most.",
        "listens": "Any key when {event}.",
        "next": "Next: {what}, in {count} s.",
        "then_done": "Then it is done.",
        "hint": "q, Esc or Ctrl-C: STOP",
        # Keys of practice, and what the practice car shows
        "space": "space",
        "lamp": "Lamp {lamp}",
        "pedal": "pedal {pedal}",
        "off": "off",
        "on": "on",
        "blinking": "blinking",
        "down": "down",
        "up": "up",
        # Afterwards
        "unwatched": "Nobody watched the car, so nothing here says that every window was met.",
        "judge": "Judge a recording of it with bellmouth judge, or watch with --live.",
        "ended_early": "Watching ended early: {why}",
        "not_met": "Not met ({phase}).",
        "lost": "lost",
        "learned": "The practice car's controller learned: {what}.",
        "nothing": "nothing",
        "memory_reset": "memory reset",
        "idle_air": "idle air",
        "pedal_released": "pedal released",
        "closed_position": "closed position",
        "idle_relearn": "idle relearn",
        "key_on_adaptation": "key on adaptation",
        # The next attempt
        "next_attempt": "Next attempt",
        "chance": "Chance of passing {chance} ({low} to {high}), {known}.",
        "from_one": "from 1 attempt",
        "from_many": "from {count} attempts",
        "from_none": "before any attempt",
        "practise": "Practise: {what} ({miss} likely to be missed).",
        "led": "Called earlier by {leads}: {chance}.",
        "late_by": "late by",
        "spread": "give or take",
        "seen": "seen",
        "between": "{value} ({low} to {high})",
        "kind_key": "key",
        "kind_press": "press",
        "kind_release": "let go",
        "kind_beat": "beat, against the last",
        "kind_react": "answer the lamp",
        "kind_other": "other",
    }
)
