"""What English words and metric units look like, for tests that look for what was left in them."""

import re
from collections.abc import Collection

__all__ = ["ENGLISH", "METRIC", "left_english"]

#: Words that only English has. What else is English would stand beside one of them.
ENGLISH = re.compile(
    r"\b(the|and|of|is|are|with|not|from|this|that|it|to|or|be|by|for|no|as|has|have|than|too|"
    r"reads?|if|what|how|when|which|only|against|leak|idle|held|engine|speed|recordings?|before|"
    r"after|on|at|a|an|low|high|seen|meter|nothing|one|its|was|were)\b"
)
METRIC = re.compile(
    r"\d\s?(mm²?|mm2|kPa|g/s|°C|degC|km|km/h|N·?m)(?![\w/])|\[(mm²?|kPa|g/s|°C|km|1,000 km)\]"
)
#: Of them, what German has, too.
_ALSO = {"an", "was", "war"}


def left_english(german: str, typed: Collection[str] = ()) -> set[str]:
    """English words in a German text, without those that are typed letter for letter."""
    return set(ENGLISH.findall(german)) - _ALSO - set(typed)
