"""A word that is probably meant, for error messages."""

from __future__ import annotations

from collections.abc import Sequence

from rapidfuzz import fuzz, process


def nearest(text: str, words: Sequence[str], *, least: float = 60.0) -> str:
    """`` (did you mean "x"?)`` or "" when nothing comes near."""
    found = process.extractOne(text.casefold(), words, scorer=fuzz.WRatio, processor=str.casefold, score_cutoff=least)
    return f' (did you mean "{found[0]}"?)' if found else ""
