"""Wire colours: other people's marks to IEC 60757 letters, and letters to words.

A mark such as ``B`` is black on one drawing, white on a second and blue on none; it is said to be ambiguous and not
guessed. Two marks together, or a whole column of them, often leave only one family that has them all.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

from pinmap.core.facts import sources
from pinmap.core.model.words import COLOURS

IEC = "IEC 60757"
LONGEST_MARK = 100  # characters
_PLAIN = (IEC, "English words", "American short")
_GREEN_YELLOW = "GNYE"
_JOINERS = re.compile(r"\s*(?:[/\\|,;+&·–—-]|\bwith\b|\band\b|\bon\b|\bstripe[sd]?\b|\btracer\b|\bbase\b)\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourReading:
    """What a colour mark says. ``codes`` is empty when the mark is unknown or when families disagree; ``rivals``
    then holds what each family would read. ``note`` says so in words."""

    codes: tuple[str, ...] = ()
    families: tuple[str, ...] = ()
    rivals: tuple[tuple[str, tuple[str, ...]], ...] = ()
    note: str = ""

    @property
    def ambiguous(self) -> bool:
        return not self.codes and bool(self.rivals)


@cache
def _families() -> Mapping[str, Mapping[str, tuple[str, str]]]:
    """family -> mark in lower case -> (IEC letters, note), in the table's order."""
    found: dict[str, dict[str, tuple[str, str]]] = {}
    for row in sources.rows("colours"):
        found.setdefault(row["family"], {})[row["mark"].casefold()] = (row["codes"], row["note"])
    return found


def read_colour(text: str, family: str = "") -> ColourReading:
    """Reads one mark of one, two or three colours, base first. ``family`` limits the reading to one family's marks.

    ``GN/YE``, ``BKWH``, ``red with white stripe``, ``L/R``, ``SW-WS`` are all understood; ``B`` is ambiguous.
    """
    if len(text) > LONGEST_MARK:
        return ColourReading(note=f"a colour mark has {LONGEST_MARK} characters at most; this is {len(text)} long")
    return _read_colour(text.strip(), family)


@lru_cache(maxsize=4096)
def _read_colour(stripped: str, family: str) -> ColourReading:
    if not stripped:
        return ColourReading()
    readings: dict[str, tuple[tuple[str, ...], str]] = {}
    for name, marks in _families().items():
        if family and name != family:
            continue
        codes_notes = _read_in(stripped, marks, glued=name in (IEC, "German"))
        if codes_notes:
            codes = tuple(code for code, _ in codes_notes)
            readings[name] = (codes, "; ".join(dict.fromkeys(note for _, note in codes_notes if note)))
    if IEC in readings:
        return ColourReading(codes=readings[IEC][0], families=(IEC,))
    if not readings and not family:  # such as "Red/BK": these three do not contradict each other
        mixed = {mark: meaning for name in _PLAIN for mark, meaning in _families()[name].items()}
        if both := _read_in(stripped, mixed, glued=False):
            readings["mixed marks"] = (
                tuple(code for code, _ in both),
                "; ".join(dict.fromkeys(note for _, note in both if note)),
            )
    distinct = {codes for codes, _ in readings.values()}
    if not distinct:
        return ColourReading(note=f"{stripped[:40]!r} is no colour mark known here; IEC 60757 letters are understood")
    if len(distinct) > 1:
        said = ", ".join(f"{colour_words(codes)} ({name})" for name, (codes, _) in readings.items())
        return ColourReading(
            rivals=tuple((name, codes) for name, (codes, _) in readings.items()),
            note=f"{stripped[:40]!r} is ambiguous: {said}",
        )
    families = tuple(readings)
    lost = "; ".join(dict.fromkeys(note for _, note in readings.values() if note))
    note = f"read as {' or '.join(families)}" + (f"; {lost}" if lost else "")
    return ColourReading(codes=distinct.pop(), families=families, note=note)


def parse_colour(text: str, family: str = "") -> tuple[str, ...]:
    """IEC 60757 letters of a mark, base first; () when it is unknown or ambiguous."""
    return read_colour(text, family).codes


def guess_family(texts: Iterable[str]) -> str:
    """The one family that reads every mark of a column, "" when none or several with different results do."""
    marks = [text for text in dict.fromkeys(t.strip() for t in texts) if text]
    able = {
        name: results
        for name in _families()
        if all(results := [parse_colour(text, name) for text in marks]) and results
    }
    if IEC in able:
        return IEC
    return next(iter(able)) if able and len({tuple(results) for results in able.values()}) == 1 else ""


def join_codes(codes: Iterable[str]) -> str:
    """Several colours of one core as IEC 60757 writes them: in the order of its table, RD and BU as ``RDBU``."""
    order = list(COLOURS)
    known = set(codes)
    if known == {"GN", "YE"}:
        return _GREEN_YELLOW
    return "".join(sorted(known, key=order.index))


def cores(text: str) -> tuple[tuple[str, ...], ...]:
    """Colours of a cable's cores as IEC 60757 writes them, ``BK+BN+GNYE``: one tuple of letters each."""
    return tuple(parse_colour(part, IEC) for part in text.split("+"))


def colour_words(code: str | Iterable[str]) -> str:
    """Words for a mark or for letters: ``RD/WH`` and ("RD", "WH") are "red/white"; unknown text comes back as it is."""
    codes = parse_colour(code) if isinstance(code, str) else tuple(code)
    if not codes:
        return code if isinstance(code, str) else ""
    return "/".join(COLOURS[c] for c in codes)


def _read_in(text: str, marks: Mapping[str, tuple[str, str]], *, glued: bool) -> tuple[tuple[str, str], ...]:
    """The (letters, note) of each colour, or () if this family cannot read all of it."""
    whole = _lookup(text, marks)
    if whole:
        return (whole,)
    parts = [part for part in _JOINERS.split(text.casefold()) if part]
    if len(parts) == 1:
        parts = text.split()
    if len(parts) == 1 and glued and len(text) in (4, 6) and text.isalpha() and text.isascii():
        parts = [text[i : i + 2] for i in range(0, len(text), 2)]
    found = [_lookup(part, marks) for part in parts]
    if not 1 < len(found) <= 3 or not all(found):
        return ()
    return tuple(one for one in found if one)


def _lookup(text: str, marks: Mapping[str, tuple[str, str]]) -> tuple[str, str] | None:
    return marks.get(re.sub(r"[\s._]+", " ", text.casefold()).strip())
