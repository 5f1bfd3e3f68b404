"""``bellmouth book add``: whatever came of a job."""

from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import CompletionItem

from bellmouth.cli.book import opened
from bellmouth.cli.complaint_option import complaint_option
from bellmouth.cli.completing import files
from bellmouth.cli.speaking import say, words
from bellmouth.cli.waiting import waiting
from bellmouth.errors import BookError
from bellmouth.reading import json_in, text_of

if TYPE_CHECKING:
    from bellmouth.book.book import Book
    from bellmouth.book.entries import Entry
    from bellmouth.book.judging import Judged
    from bellmouth.finding.proof_result import Proof
    from bellmouth.finding.result import Finding

__all__ = ["add_command"]

_FILE = click.Path(path_type=Path)
_GASKETS = ("new", "kept")
_NAMED = ("recording", "work", "attempt")
# What is said of these kinds of entry alone.
_ONLY = {
    "of": ("finding", "proof"),
    "also": ("finding",),
    "references": ("finding", "proof"),
    "results": ("finding", "proof"),
    "complaint": ("finding", "proof"),
    "text": ("photo",),
    "mapping": ("recording",),
}
_TIMES = {1: "once", 2: "twice"}
_TYPED = {"references": "--reference", "results": "--result"}
_KINDS = ("recording", "finding", "work", "card", "attempt", "proof", "note", "photo")


def _whats(context: click.Context, param: click.Parameter, begun: str) -> list[CompletionItem]:
    """Works or files, by the kind of entry; a note is anybody's words."""
    kind = context.params.get("kind")
    if kind == "work":
        return [CompletionItem(work) for work in _works() if work.startswith(begun)]
    return [] if kind == "note" else files(context, param, begun)


def _works() -> list[str]:
    from bellmouth.finding.priors import load_priors  # noqa: PLC0415 - --help stays quick

    return [work for work in load_priors().proof["works"] if work != "nothing"]


@click.command("add", short_help="Add a recording, finding, note, photo and so on.")
@click.argument("name", metavar="CAR")
@click.argument("kind", type=click.Choice(_KINDS), metavar="KIND")
@click.argument("what", nargs=-1, metavar="[WHAT]...", shell_complete=_whats)
@click.option("--job", type=int, metavar="N", help="The job it belongs to (default: the last).")
@click.option("--corrects", type=int, metavar="N", help="The entry that it stands in the place of.")
@click.option(
    "--of",
    "of",
    type=int,
    multiple=True,
    metavar="N",
    help="The recording that a finding is of, or the two of a proof, before and after "
    "(default: the newest).",
)
@click.option(
    "--also",
    type=int,
    multiple=True,
    metavar="N",
    help="Another recording of the book that a finding is of as well: the car as it was then, "
    "nothing done in between. May be given more than once.",
)
@click.option(
    "--reference",
    "references",
    type=int,
    multiple=True,
    metavar="N",
    help="A recording of the book from when the car was good (default: the one from just after "
    "its plate was last cleaned). May be given more than once.",
)
@click.option(
    "--result",
    "results",
    multiple=True,
    metavar="CHECK=OUTCOME",
    help="What a check showed; of a proof, a check that was made after the work. May be given more "
    "than once, and so may a check that was made again.",
)
@complaint_option("What the owner says (default: the job's).")
@click.option(
    "--loads-off/--loads-on",
    default=None,
    help="Of a recording: whether every load was off while it idled (air conditioning, blower, "
    "lights, heated windows) or one was on. Left out: what the recording notes.",
)
@click.option("--text", default="", metavar="TEXT", help="What a photo shows.")
@click.option("--by", metavar="NAME", help="Who did the work, made the recording or the attempt.")
@click.option(
    "--gasket",
    type=click.Choice(_GASKETS),
    help="Of work on the throttle: whether its gasket is new or the old one was kept.",
)
@click.option(
    "--mapping", type=_FILE, metavar="FILE", help="Which column is which parameter (TOML)."
)
@click.pass_context
def add_command(
    context: click.Context, /, name: str, kind: str, what: tuple[str, ...], **options: Any
) -> None:
    """Add to the last job of CAR an entry of KIND.

    \b
    recording FILE      kept as Parquet, sample for sample
    finding [FILE]      made now from a recording of the book
    proof [FILE]        made now from two recordings of the book
    work NAME...        what was done: clean_plate, reseal and so on
    card, attempt FILE  as JSON
    note TEXT
    photo FILE          without the place where it was taken

    A FILE for a finding or a proof (JSON) is kept only where the recordings give the same.
    """
    _refuse_misplaced(kind, options)
    book = opened(context)
    entry = _ADD[kind](book, name, kind, what, options)
    gist = _said(book, name, entry)
    more = f": {words().told(gist)}" if gist else ""
    say("{0}: {1} added as entry {2}{3}.", name, words().told(kind), entry.number, more)


def _refuse_misplaced(kind: str, options: dict[str, Any]) -> None:
    """Refuse what was said of another kind of entry: it would be passed over."""
    if options["by"] and kind not in _NAMED:
        raise click.UsageError(f"--by says who made a recording, work or an attempt, no {kind}.")
    if options["gasket"] and kind != "work":
        raise click.UsageError(f"--gasket goes with work, not with a {kind}.")
    if options["loads_off"] is not None and kind != "recording":
        typed = "--loads-off" if options["loads_off"] else "--loads-on"
        raise click.UsageError(f"{typed} says how a recording was made, no {kind}.")
    for name, kinds in _ONLY.items():
        if options[name] and kind not in kinds:
            typed = _TYPED.get(name, f"--{name}")
            raise click.UsageError(f"{typed} goes with a {' or '.join(kinds)}, not with a {kind}.")
    most, given = {"finding": 1, "proof": 2}.get(kind, 0), len(options["of"])
    if given not in (0, most):
        one = "one recording" if most == 1 else "two recordings, before and after"
        more = " More of one finding are given with --also." if most == 1 else ""
        raise click.UsageError(
            f"A {kind} is of {one}: give --of {_TIMES[most]}, or leave it out.{more}"
        )


def _common(options: dict[str, Any]) -> dict[str, Any]:
    return {key: options[key] for key in ("job", "corrects")}


def _one(what: tuple[str, ...], kind: str, wanted: str) -> str:
    if len(what) != 1:
        raise click.UsageError(f"A {kind} needs one {wanted}, not {len(what)}.")
    return what[0]


def _recording(
    book: "Book", name: str, kind: str, what: tuple[str, ...], options: dict[str, Any]
) -> "Entry":
    with waiting(words().text("Reading the recording")):
        from bellmouth.recording import read_recording  # noqa: PLC0415 - --help stays quick

        read = read_recording(Path(_one(what, kind, "file")), mapping=options["mapping"])
        if options["loads_off"] is not None:
            read = replace(read, loads_off=options["loads_off"])
        return book.add_recording(name, read, by=options["by"], **_common(options))


def _photo(
    book: "Book", name: str, kind: str, what: tuple[str, ...], options: dict[str, Any]
) -> "Entry":
    path = Path(_one(what, kind, "file"))
    return book.add_photo(name, path, text=options["text"], **_common(options))


def _note(
    book: "Book", name: str, kind: str, what: tuple[str, ...], options: dict[str, Any]
) -> "Entry":
    text = " ".join(what).strip()
    if not text:
        raise click.UsageError("A note needs its text.")
    return book.add(name, kind, {"text": text}, **_common(options))


def _work(
    book: "Book", name: str, kind: str, what: tuple[str, ...], options: dict[str, Any]
) -> "Entry":
    known = _works()
    unknown = [work for work in what if work not in known]
    if unknown or not what:
        raise click.UsageError(f"What was done is one or more of {', '.join(known)}.")
    said: dict[str, Any] = {"done": list(what)} | _by(options)
    gasket = options["gasket"]
    if "renew_gasket" in what:
        if gasket == "kept":
            raise click.UsageError("renew_gasket and --gasket kept contradict each other.")
        gasket = "new"
    if gasket:
        said["gasket"] = gasket
    return book.add(name, kind, said, **_common(options))


def _by(options: dict[str, Any]) -> dict[str, str]:
    by = " ".join((options["by"] or "").split())
    return {"by": by} if by else {}


def _document(
    book: "Book", name: str, kind: str, what: tuple[str, ...], options: dict[str, Any]
) -> "Entry":
    said = _json(_one(what, kind, "file")) | _by(options)
    return book.add(name, kind, said, **_common(options))


def _judged(
    book: "Book", name: str, kind: str, what: tuple[str, ...], options: dict[str, Any]
) -> "Entry":
    from bellmouth.pages.document import finding_document, proof_document  # noqa: PLC0415

    said: dict[str, Any] = {"complaint": options["complaint"]}
    if options["references"]:
        said["references"] = options["references"]
    judged: Judged[Finding] | Judged[Proof]
    with waiting(words().text("Weighing the causes")):
        if kind == "finding":
            found = book.judge(
                name, *options["of"][:1], results=options["results"], also=options["also"], **said
            )
            judged, document = found, finding_document(found.result)
        else:
            proved = book.judge_work(name, *options["of"][:2], results=options["results"], **said)
            judged, document = proved, proof_document(proved.result)
    if what:
        document = _handed(_one(what, kind, "file"), asdict(judged.result), document)
    return book.keep(name, judged, document, **_common(options))


def _handed(path: str, result: dict[str, Any], document: dict[str, Any]) -> dict[str, Any]:
    """A finding or a proof as somebody has it, where it is whole and what the book makes, too."""
    from bellmouth.book.alike import differences, lacking  # noqa: PLC0415

    handed = _json(path)
    if other := differences(handed, result):
        raise BookError(
            f"{Path(path).name}: is not what the recordings of the book give ({other[0]}). "
            "Name the right ones with --of, or leave the file out."
        )
    if gone := lacking(document, handed):
        raise BookError(
            f"{Path(path).name}: is not whole, it has no {gone}. Give it as --json prints it, or "
            "leave the file out."
        )
    return handed


def _json(path: str) -> dict[str, Any]:
    try:
        found = json_in(text_of(Path(path)))
    except ValueError as error:
        raise BookError(f"{Path(path).name}: not a JSON document ({error}).") from error
    if not isinstance(found, dict):
        raise BookError(f"{Path(path).name}: not a JSON document with names and values.")
    return found


def _said(book: "Book", name: str, entry: "Entry") -> str:
    """The gist of a finding or a proof, for the line that says it was added."""
    if entry.kind == "finding":
        from bellmouth.book.standing import known_of  # noqa: PLC0415
        from bellmouth.pages.book_document import finding_gist  # noqa: PLC0415

        car = known_of(book.history(name).entries).document["car"]
        return finding_gist(entry.document["finding"], car.get("metering", ""))
    if entry.kind == "proof":
        return str(entry.document["proof"]["verdict"])
    return ""


_ADD = {
    "recording": _recording,
    "finding": _judged,
    "work": _work,
    "card": _document,
    "attempt": _document,
    "proof": _judged,
    "note": _note,
    "photo": _photo,
}
