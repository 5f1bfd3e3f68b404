"""A terminal that speaks the reader's language and units: sections, lists and sentences.

What the screens hand over is English, their own words as much as those of the rooms below; here it
is told as :class:`bellmouth.pages.card_words.Words` tells it, and laid out.
"""

from collections.abc import Iterable

from rich.console import Console
from rich.text import Text

from bellmouth.pages.card_words import Words
from bellmouth.pages.lists import MORE, Kept, hanging, print_list, section

__all__ = ["Teller"]


class Teller:
    """Prints English sentences as the reader's.

    Parameters
    ----------
    out
        Where to.
    speak
        The reader's language and units.
    """

    def __init__(self, out: Console, speak: Words) -> None:
        self.out, self.speak, self.say = out, speak, speak.told

    def section(self, title: str) -> None:
        """A heading with an empty line before it."""
        section(self.out, self.say(title))

    def line(self, sentence: str, style: str = "") -> None:
        """A sentence that begins where the line does."""
        self.out.print(Kept(self.say(sentence), style))

    def plain(self, sentence: str, style: str = "") -> None:
        """A sentence in lines as wide as there is room; what is in a cell is told by `say`."""
        self.out.print(self.say(sentence), style=style or None)

    def hanging(self, mark: str, sentence: str) -> None:
        """A sentence whose later lines are indented under its first."""
        self.out.print(hanging(mark, self.say(sentence)))

    def list(self, title: str, sentences: Iterable[str], most: int) -> None:
        """A heading and at most ``most`` sentences; nothing at all where there are none."""
        self.list_told(title, [self.say(sentence) for sentence in sentences], most)

    def list_told(self, title: str, told: Iterable[str], most: int) -> None:
        """In the same way, of sentences that are in the reader's words already."""
        print_list(self.out, self.say(title), told, most, self.speak.text(MORE))

    def filled(self, sentence: str, **typed: str) -> str:
        """A sentence in the language, with what is typed letter for letter in its places."""
        return self.speak.text(sentence).format(**typed)

    def dim(self, sentence: str) -> None:
        """A sentence for whoever reads to the end."""
        self.out.print(Text(self.say(sentence), style="dim"))
