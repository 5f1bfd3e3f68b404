"""A sentence for a person, whatever was typed or sent that it quotes."""

import re
import tempfile
from pathlib import Path

__all__ = ["fit_to_tell"]

#: Where an upload was put to be read: nobody outside has to know, and it is gone by then.
_OWN_PLACE = rf"{tempfile.gettempprefix()}\w+/(?:\w+/)*"
#: Begin and end of what is too long to be read: what is wrong, and what to do.
_MOST, _BEGIN, _END = 600, 350, 200


def fit_to_tell(text: str, folder: Path | None = None) -> str:
    """A sentence in one line, of bounded length, of nothing but what can be seen.

    ``folder`` is one of ours, in which uploads may have been put, too.
    """
    ours = rf"{re.escape(tempfile.gettempdir())}/{_OWN_PLACE}"
    if folder is not None:
        ours = rf"{re.escape(str(folder))}/survey-\w+/{_OWN_PLACE}|{ours}"
    line = " ".join(re.sub(ours, "", text).split())
    # Unseen signs turn letters round, ring a terminal's bell, or have no bytes at all.
    seen = "".join(one if one.isprintable() else "\ufffd" for one in line)
    return seen if len(seen) <= _MOST else f"{seen[:_BEGIN]} … {seen[-_END:]}"
