"""The keys of a procedure's file, table by table."""

from collections.abc import Mapping

__all__ = ["KEYS", "REQUIRED"]

#: The keys of each table of a procedure's file; ``""`` is the top.
KEYS: Mapping[str, tuple[str, ...]] = {
    "": (
        "name", "title", "source", "catalogue", "purpose", "does", "engine", "order",
        "called_for_by", "requires", "erases", "cautions", "safe_state", "events", "sign",
        "before", "throughout", "step", "repeat",
    ),
    "sign": ("how", "what"),
    "before": ("name", "say", "signal", "unit", "least", "most", "engine", "mend"),
    "throughout": (
        "name", "say", "signal", "unit", "least", "most", "engine", "mend", "shortest_s", "first",
        "last",
    ),
    "step": (
        "name", "who", "do", "say", "show", "after", "after_s", "times", "within_s", "lasts_s",
        "until", "clock_stops", "forbidden", "optional", "instead", "if_missed", "caution",
    ),
    "repeat": ("first", "last", "times"),
    "window": ("least", "most", "about", "tolerance", "aim"),
    "until": (
        "event", "timeout_s", "about_s", "earliest_s", "signal", "unit", "least", "most",
    ),
    "clock_stops": ("at", "until"),
    "times": ("least", "most"),
}  # fmt: skip

#: The keys that must be there.
REQUIRED: Mapping[str, tuple[str, ...]] = {
    "": ("name", "title", "source", "step"),
    "sign": ("how", "what"),
    "before": ("name", "say"),
    "throughout": ("name", "say"),
    "step": ("name", "who", "do", "say"),
    "repeat": ("first", "last", "times"),
    "until": ("event", "timeout_s"),
    "clock_stops": ("at", "until"),
    "times": ("least", "most"),
}
