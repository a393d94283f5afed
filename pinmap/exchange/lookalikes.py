"""Characters that look like others: in the name of a connector or cavity they part what belongs together."""

from __future__ import annotations

import re
import unicodedata

# Cyrillic and Greek letters that print like Latin ones (Unicode TR 39 confusables, the capitals and digits of it).
_LIKE_LATIN = str.maketrans(
    "АВЕЅІЈКМНОРСТУХаеорсухіјѕΑΒΕΖΗΙΚΜΝΟΡΤΥΧο",
    "ABESIJKMHOPCTYXaeopcyxijsABEZHIKMNOPTYXo",
)
_LIKE_DIGIT = str.maketrans("OoIlSs", "001155")
_INVISIBLE = re.compile("[\u00ad\u200b-\u200f\u202a-\u202e\u2060-\u2064\u2066-\u2069\ufeff]")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")


def clean(text: str) -> tuple[str, str]:
    """(text without control and invisible characters and blanks at its ends, what was taken out)."""
    if text.isascii() and text.isprintable():
        return text.strip(), ""
    bare = _CONTROL.sub("", text).strip()
    return bare, "control characters were taken out" if len(bare) < len(text.strip()) else ""


def clean_name(text: str) -> tuple[str, str]:
    """The same for a name of a connector or cavity; says which look-alike characters are in it."""
    if text.isascii() and text.isprintable():
        return text.strip(), ""
    bare, note = clean(text.replace("\u00a0", " "))
    seen = _INVISIBLE.sub("", bare)
    if seen != bare:
        note = "invisible characters were taken out"
    latin = unicodedata.normalize("NFKC", seen).translate(_LIKE_LATIN)
    if latin != unicodedata.normalize("NFC", seen) and latin.isascii():
        odd = next(c for c, d in zip(seen, latin, strict=False) if c != d)
        name = unicodedata.name(odd, "an unusual character").lower()
        note = f'{odd!r} is {name}, which looks like "{latin}"; type it as "{latin}" if that is meant'
    return seen, note


def skeleton(name: str) -> str:
    """Two names with the same skeleton can be taken for one another: O1 and 01, l2 and 12, B2 in two alphabets."""
    latin = unicodedata.normalize("NFKC", name).translate(_LIKE_LATIN)
    return latin.translate(_LIKE_DIGIT).casefold()
