"""The options that say in which language and units a command speaks."""

import functools
import inspect
import io
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from bellmouth.pages.card_words import Words
    from bellmouth.pages.teller import Teller

__all__ = [
    "LANGUAGE",
    "Speaking",
    "in_language",
    "language_option",
    "say",
    "speaking",
    "teller",
    "units_option",
    "words",
]

#: Where the root context's object holds the language, so that errors are told in it.
LANGUAGE = "language"

F = TypeVar("F", bound=Callable[..., Any])


def language_option(what: str, but: str = "", *, expose_value: bool = True) -> Callable[[F], F]:
    """Give a command ``--language``; ``what`` of it is in that language, and what is not.

    Where its value is not exposed the command is handed nothing: `words` knows what was chosen.
    """
    return click.option(
        "--language",
        type=click.Choice(["en", "de"]),
        is_eager=True,  # what is wrong with another option is told in it too
        expose_value=expose_value,
        callback=_noted,
        help=f"Language of {what}; left out, the locale's, else English.{but}",
    )


class Speaking(click.Group):
    """A group whose commands all speak: each takes ``--language``, and so does the group."""

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        in_language(self)

    def add_command(self, cmd: click.Command, name: str | None = None) -> None:
        """A command of the group."""
        super().add_command(in_language(cmd), name)


def in_language(command: click.Command) -> click.Command:
    """Give a command ``--language`` once, without handing it on."""
    if any(one.name == LANGUAGE for one in command.params):
        return command
    but = " JSON is English." if any(one.name == "as_json" for one in command.params) else ""
    return language_option("what is printed", but, expose_value=False)(command)


def words() -> "Words":
    """The words of the running command: in the language that was chosen, or the locale's."""
    from bellmouth.pages.card_catalogue import default_language  # noqa: PLC0415 - for --help
    from bellmouth.pages.card_words import Words  # noqa: PLC0415

    context = click.get_current_context(silent=True)
    chosen = context.find_root().obj if context else None
    language = chosen.get(LANGUAGE) if isinstance(chosen, dict) else None
    return Words(language or default_language())


def say(sentence: str, *typed: object, err: bool = False) -> None:
    """Print a sentence in the language of the running command; ``typed`` letter for letter in its
    places ``{0}``, ``{1}``."""
    said = words().text(sentence).format(*typed) if typed else words().told(sentence)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")  # as `bellmouth.pages.lists.console`
    click.echo(said, err=err)


def teller() -> "Teller":
    """The terminal in the language of the running command."""
    from bellmouth.pages.lists import console  # noqa: PLC0415 - for --help
    from bellmouth.pages.teller import Teller  # noqa: PLC0415

    return Teller(console(), words())


def _noted(context: click.Context, _: click.Parameter, language: str | None) -> str | None:
    if language and isinstance(chosen := context.find_root().obj, dict):
        chosen[LANGUAGE] = language
    return language


def units_option(command: F) -> F:
    """Give a command ``--units``."""
    return click.option(
        "--units",
        type=click.Choice(["metric", "us"]),
        default="metric",
        help="Units of lengths, temperatures and pressures. [default: metric]",
    )(command)


def speaking(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command both, and hand it what they choose as its argument ``speak``.

    JSON stays English in SI units whatever is chosen.
    """
    taken = inspect.signature(command).parameters
    what = "terminal and report" if "report" in taken else "what is printed"
    but = " JSON is English." if "as_json" in taken else ""

    @functools.wraps(command)
    def spoken(*given: Any, language: str | None, units: Any, **named: Any) -> Any:
        from bellmouth.pages.card_catalogue import default_language  # noqa: PLC0415 - for --help
        from bellmouth.pages.card_words import Words  # noqa: PLC0415

        return command(*given, speak=Words(language or default_language(), units), **named)

    return language_option(what, but)(units_option(spoken))
