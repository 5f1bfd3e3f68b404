"""Every sentence that the rooms below can hand to a page, found where it is written.

The rooms below speak English and know no catalogue: a result or an error is a sentence that is
whole, also in the JSON, in the book and in a survey's table. Here their sources are read for the
sentences' shapes, ``trims of {0} open-loop stretches``, which are the keys of the catalogue;
:mod:`bellmouth.pages.recognised` knows a sentence again by its shape. A sentence that is new in
one of these rooms is therefore missing in the catalogue until it is translated, and a test says so.
"""

import ast
import csv
import itertools
import re
import tomllib
from collections.abc import Iterator, Mapping
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

from bellmouth.finding.check_table import CHECKS
from bellmouth.j1979.messages import NEGATIVE_MEANINGS
from bellmouth.j1979.parameters import names
from bellmouth.pages.words import spoken

__all__ = ["paragraphs", "parameter_shape", "sentences", "shapes"]

#: Rooms whose sentences can reach a page, without the modules that speak in the terminal alone, or
#: to whoever writes a program, a procedure or a table of rules.
_ROOMS: Mapping[str, tuple[str, ...]] = {
    "finding": (),
    "recording": (),
    "car": (),
    "bus": ("first_answers", "recorded_monitors"),
    "book": (
        "alike", "archive", "comebacks", "opening", "places", "readers", "shares", "versions",
    ),
    "learning": (
        "attempts", "call_script", "condition_reader", "consistency", "packs", "procedure_reader",
        "toml_table",
    ),
    "fleet": ("family", "family_files", "parts"),
    "pages/site": ("assets", "once"),
}  # fmt: skip
#: What the pages themselves say; the rest of their room draws on the terminal or holds texts that
#: are in the catalogue already.
_PAGES = (
    "book_counts_screen", "book_document", "book_screen", "car_screen", "charts", "clearing_words",
    "family_screen", "forecast_chart", "known_screen", "procedures", "proof_charts", "proof_page",
    "proof_screen", "proof_words", "quality", "report", "screen", "survey_charts", "survey_page",
    "survey_screen", "words",
)  # fmt: skip
#: What says much of the commands' room; of the others, whose help is English, what they have told
#: and what they raise.
_COMMANDS = ("capturing", "refusing")
_TOLD = re.compile(r"""(?:speak|words(?:\(\))?)\.text\(\s*"((?:[^"\\]|\\.)*)"\s*\)""")
#: Data files with sentences in them.
_DATA = (
    "finding/checks.toml", "bus/guide.toml", "bus/readiness.toml", "recording/needs.toml",
    "bus/code_meanings.csv", "j1979/meanings.csv",
)  # fmt: skip
#: Single words, and names that are written with underscores where they are names.
_WORDS = (
    # kinds of operating point, halves of a proof, its verdicts, evidence by its short name
    "idle", "held", "drive", "engine off", "before", "after", "better", "same", "worse",
    "cannot say yet", "{0} rpm before", "{0} of another size", "once",
    "short", "long", "filling", "plate", "trim {0}", "computed", "boost", "closed",
    # legends and ends of scales
    "meter", "none", "read", "No.", "ratio", "median {0}", "cleaned", "findings", "forecast",
    "inspect", "worth a look", "deposit [mm²]", "Airflow [g/s]",
    "Share of recordings [%]", "How likely [%]", "Distance [1,000 km]", "right", "below", "above",
    "under 1 %", "over 99 %", "Probably", "healthy",
    # the car and the recording, as a report lists them
    "displacement", "metering", "airflow", "pressure", "cylinders", "banks", "throttle bore",
    "closed throttle position", "ethanol", "barometric pressure", "altitude",
    "ambient air temperature", "turbocharged", "source", "unknown", "True", "False",
    "file", "length", "samples", "parameters", "columns not used",
    # heads and cells of the terminal's tables, steps of a capture and what a car is asked for
    "Meaning", "Size", "name", "gap", "range", "begins", "ends", "speed", "STUCK", "change",
    "{codes}: none.", "complete", "INCOMPLETE", "values", "identity", "monitors", "freeze frames",
    "warm up",
    "idle again", "hold 1500", "hold 2000", "hold 2500", "hold 3500",
    # checks and what they can show
    "seen", "low", "normal", "high", "agrees", "no change", "improved", "changed", "below normal",
    "above normal", "near", "usual", "far", "clean", "light", "heavy", "settled",
    "nothing", "found", "lower", "unchanged", "fell", "rose", "once more",
    # between things that are listed
    "{0} and {1}", "{0} or {1}", "{0}, and {1}", "{0}; and {1}", "{0} to {1}",
    # why the system refuses a file, and what an error of the terminal ends with
    "bellmouth procedures lists them.", "Did you mean {0}?",
    "Begin one with: bellmouth book car NAME --file car.toml",
    "No such file or directory", "Permission denied", "Is a directory", "Not a directory",
    "File exists", "No space left on device", "File too large", "Read-only file system",
    # what an entry is made of, copies of a recording, and what can be typed
    "is the same recording as {0}, which counts once", "Works are {0}.", "not written down",
    "one recording", "two recordings, before and after", "twice", "not written down",
    "More of one finding are given with --also.",
    # whether a book, or a finding made again, is as it was
    "{0} entries", "1 entry", "whole", "NOT whole", "NOT the same",
    "CANNOT be made again", "were removed",
    "may be removed with --sweep", "month",
    # what a survey says while it runs, and of rows
    "{0} of {1} recordings, {2} a second, {3} left", " ({0} done before)", "1 row", "{0} rows",
    "Without a finding",
    # what a procedure wipes
    "codes", "freeze frame", "trims", "readiness",
)  # fmt: skip
_TWO_WORDS = re.compile(r"[A-Za-z]{2,}[,;:.]?\)? (\(?[A-Za-z]{2,}|\{)|\} [a-z]{2,}")
#: Written in code or for a program: SQL, markup, patterns, keys of a library, kinds of a file.
_NO_WORDS = re.compile(
    r"[\\<>\n]|^(PRAGMA |upper |lower |offset |outside )|^#|^-(?!-[a-z]+ )|^(gone|still) and new$"
    r"|^target load$|application/|attachment|^\w+\["
)
_PLACES = re.compile(r"\{\w*\}")


def sentences() -> Iterator[tuple[str, str]]:
    """Pairs of where a sentence is written and its shape."""
    root = files("bellmouth")
    for path in _modules(root):
        source = root.joinpath(path).read_text(encoding="utf-8")
        yield from ((path, shape) for shape in shapes(source))
    for path in _silent(root):
        source = root.joinpath(path).read_text(encoding="utf-8")
        yield from ((path, shape) for shape in _raised(source))
    for path in _DATA:
        yield from ((path, text) for text in _data(root.joinpath(path)))
    for entry in _sorted(root.joinpath("learning/packs"), ".toml"):
        yield from (("procedures", text) for text in _data(entry))
    yield from _on_terminals(root)
    yield from (("words", text) for text in _WORDS)
    yield from _names(root)


def _on_terminals(root: Traversable) -> Iterator[tuple[str, str]]:
    """What commands say themselves, and the story of the demonstration."""
    for entry in _sorted(root.joinpath("cli"), ".py"):
        source = entry.read_text(encoding="utf-8")
        said = (*_TOLD.findall(source), *_raised(source))
        yield from ((f"cli/{entry.name}", text) for text in said)
    story = root.joinpath("data/demo/story.txt").read_text(encoding="utf-8")
    yield from (("data/demo/story.txt", text) for text in paragraphs(story))


def _names(root: Traversable) -> Iterator[tuple[str, str]]:
    """Names of checks, refusals, monitors and parameters, as people say them."""
    for check in CHECKS:
        yield "finding/checks.toml", check.replace("_", " ")
    yield from (("j1979/messages.py", why) for why in NEGATIVE_MEANINGS.values())
    table = root.joinpath("j1979/monitors.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(table.splitlines()):
        yield "j1979/monitors.csv", spoken(row["monitor"])
    for name in names():
        if not name.startswith("supported_parameters"):
            yield "j1979/parameters.csv", parameter_shape(name)


def _sorted(folder: Traversable, ending: str) -> Iterator[Traversable]:
    for entry in sorted(folder.iterdir(), key=lambda one: one.name):
        if entry.name.endswith(ending):
            yield entry


def _modules(root: Traversable) -> Iterator[str]:
    for room, silent in _ROOMS.items():
        for name in sorted(one.name for one in root.joinpath(room).iterdir()):
            if name.endswith(".py") and name.removesuffix(".py") not in {"__init__", *silent}:
                yield f"{room}/{name}"
    yield from (f"pages/{name}.py" for name in _PAGES)
    yield from (f"cli/{name}.py" for name in _COMMANDS)


def _silent(root: Traversable) -> Iterator[str]:
    """Modules of which no page says anything: their errors are the terminal's alone."""
    for room, silent in _ROOMS.items():
        yield from (f"{room}/{name}.py" for name in silent)
    for room in ("practice", "work"):
        yield from (f"{room}/{one.name}" for one in _sorted(root.joinpath(room), ".py"))


def paragraphs(text: str) -> list[str]:
    """The paragraphs of a text that is set in lines, each in one line."""
    return [" ".join(one.split()) for one in text.split("\n\n")]


def parameter_shape(name: str) -> str:
    """A parameter's name in words, with places for its numbers."""
    count = itertools.count()
    return re.sub(r"\b\d+\b", lambda _: f"{{{next(count)}}}", name.replace("_", " "))


def shapes(source: str) -> Iterator[str]:
    """The sentences in a module's source, with numbered places for what is filled in."""
    finder = _Finder()
    finder.visit(ast.parse(source))
    yield from dict.fromkeys(finder.found)


def _raised(source: str) -> Iterator[str]:
    """The sentences of a module's errors, and of what it says in passing."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Raise) and node.exc is not None:
            yield from shapes(ast.unparse(node.exc))
        elif isinstance(node, ast.Call) and getattr(node.func, "id", "") == "say" and node.args:
            yield from shapes(f"said = {ast.unparse(node.args[0])}")


def _data(entry: Traversable) -> Iterator[str]:
    text = entry.read_text(encoding="utf-8")
    if entry.name.endswith(".csv"):
        for row in csv.DictReader(text.splitlines()):
            yield row["meaning"]
        return
    yield from (one for one in _texts(tomllib.loads(text)) if _TWO_WORDS.search(one))


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from _texts(one)
    elif isinstance(value, list):
        for one in value:
            yield from _texts(one)


class _Finder(ast.NodeVisitor):
    """Collects texts: f-strings with places, sums of texts as one, words chosen inside them."""

    def __init__(self) -> None:
        self.found: list[str] = []
        self._inside = 0

    def visit_Expr(self, node: ast.Expr) -> None:
        """Docstrings are for programmers."""
        if not isinstance(node.value, ast.Constant):
            self.generic_visit(node)

    def visit_Subscript(self, node: ast.Subscript) -> None:
        """A key is no word."""
        self.visit(node.value)

    def visit_Compare(self, node: ast.Compare) -> None:
        """What is only compared with is not said."""

    def visit_Call(self, node: ast.Call) -> None:
        """Arguments inside a sentence are patterns and keys more often than words."""
        kept, self._inside = self._inside, 0
        self.generic_visit(node)
        self._inside = kept

    def _take(self, node: ast.expr) -> None:
        parts = _parts(node)
        if parts is None:
            self.generic_visit(node)
            return
        self._keep(parts)
        for part in parts:
            if not isinstance(part, str):
                self._inside += 1
                self.visit(part)
                self._inside -= 1

    def _keep(self, parts: list[str | ast.expr]) -> None:
        whole = len(parts) == 1 and isinstance(parts[0], str)
        text = str(parts[0]) if whole else _shape(parts)
        if not _is_said(text, inside=bool(self._inside)):
            return
        if whole and "{" in text and _PLACES.sub("", text).count("{"):
            text = text.replace("{", "{{").replace("}", "}}")
        self.found.append(text.strip(" "))

    # The visitor's names are the syntax tree's.
    visit_Constant = visit_JoinedStr = visit_BinOp = _take  # noqa: N815


def _is_said(text: str, *, inside: bool) -> bool:
    if _NO_WORDS.search(text):
        return False
    if inside:
        return bool(re.search(r"[A-Za-z]{2,}", text)) and not re.search(r"[_%]|^\.\w", text)
    return bool(_TWO_WORDS.search(text)) or bool(re.search(r"[a-z]{3,} \{|\} [a-z]{2,}", text))


def _parts(node: ast.expr) -> list[str | ast.expr] | None:
    """A text in pieces, or None where it is none."""
    if isinstance(node, ast.Constant):
        return [node.value] if isinstance(node.value, str) else None
    if isinstance(node, ast.JoinedStr):
        return [
            str(one.value) if isinstance(one, ast.Constant) else one.value
            for one in node.values
            if isinstance(one, ast.Constant | ast.FormattedValue)
        ]
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        left, right = _parts(node.left), _parts(node.right)
        if left is None and right is None:
            return None
        return (left or [node.left]) + (right or [node.right])
    return None


def _shape(parts: list[str | ast.expr]) -> str:
    text, place = "", 0
    for part in parts:
        if isinstance(part, str):
            text += part.replace("{", "{{").replace("}", "}}")
        else:
            text += f"{{{place}}}"
            place += 1
    return text
