"""Finds out which column of somebody's table is which column of a pinout."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

from rapidfuzz import fuzz

from pinmap.core.facts.colours import parse_colour
from pinmap.core.facts.kinds import parse_direction, parse_kind
from pinmap.exchange.columns import BY_NAME, COLUMNS

_LONGEST = 60  # characters of a heading; more is text
_UNIT = re.compile(r"[(\[][^)\]]*[)\]]")
_SPLIT = re.compile(r"[^\w²#]+|_")
_CAVITY = re.compile(r"[A-Za-z]{0,2}\d{1,3}[A-Za-z]?|[A-Za-z]{1,2}")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadingGuess:
    """What one column of the file probably is: the name of a pinout column, "" for an own column of the user's, which
    is kept as it stands. ``score`` runs from 0 to 1."""

    index: int
    heading: str
    column: str
    score: float
    why: str


@dataclass(frozen=True, slots=True)
class Headings:
    """Guesses for all columns in file order."""

    guesses: tuple[HeadingGuess, ...]

    @property
    def mapping(self) -> dict[int, str]:
        """Column index of the file -> pinout column; own columns are missing."""
        return {g.index: g.column for g in self.guesses if g.column}


def words(heading: str) -> str:
    """A heading bare of case, marks and signs: "Wire_Colour:" is "wire colour"."""
    folded = unicodedata.normalize("NFKC", heading).casefold()
    return " ".join(w for w in _SPLIT.split(folded) if w)


@cache
def _synonyms() -> tuple[tuple[str, str, float], ...]:
    """(words, column, weight) of all known headings."""
    found = []
    for column in COLUMNS:
        found += [(words(column.name), column.name, 1.0), (words(column.title), column.name, 1.0)]
        found += [(words(text), column.name, float(weight)) for text, weight in column.synonyms.items()]
    return tuple(found)


def candidates(heading: str) -> tuple[tuple[str, float, str], ...]:
    """(column, score, why) that a heading may be, best first."""
    return _candidates(heading) if len(heading) <= _LONGEST else ()


@lru_cache(2048)
def _candidates(heading: str) -> tuple[tuple[str, float, str], ...]:
    found: dict[str, tuple[float, str]] = {}
    for text, is_unit_off in ((words(heading), False), (words(_UNIT.sub(" ", heading)), True)):
        if not text:
            continue
        for known, column, weight in _synonyms():
            if text == known:
                score, why = weight - (0.01 if is_unit_off else 0), f'"{known}" is a known heading'
            elif len(known) > 3 and f" {known} " in f" {text} ":
                score, why = weight * 0.8, f'has the words "{known}"'
            elif len(known) > 4 and fuzz.ratio(text, known) >= 86:
                score, why = weight * 0.75, f'looks like "{known}"'
            else:
                continue
            if score > found.get(column, (0.0, ""))[0]:
                found[column] = (score, why)
    return tuple(sorted(((c, s, w) for c, (s, w) in found.items()), key=lambda x: -x[1]))


def recognised(cells: Sequence[str]) -> int:
    """How many different pinout columns a row names, if it were the heading row."""
    return len({found[0][0] for cell in cells if cell.strip() and (found := candidates(cell.strip()))
                and found[0][1] >= 0.55})  # fmt: skip


def heading_row_of(lines: Sequence[tuple[int, Sequence[str]]]) -> int:
    """Row number of the headings among the first ten lines, 0 when there are none."""
    best, best_count = 0, 0
    for number, cells in lines[:10]:
        if (count := recognised(cells)) > best_count:
            best, best_count = number, count
    filled = next((sum(bool(c.strip()) for c in cells) for number, cells in lines if number == best), 0)
    return best if best_count >= 2 or (best_count == 1 and filled == 1) else 0


def guess_headings(headings: Sequence[str], rows: Sequence[Sequence[str]] = ()) -> Headings:
    """Which column is which: by heading first, the surest pair first; what no heading tells, by the values of the
    first rows."""
    offers = sorted(
        (-score, order, index, column, why)
        for index, heading in enumerate(headings)
        for order, (column, score, why) in enumerate(candidates(heading.strip()))
    )
    taken: dict[int, tuple[str, float, str]] = {}
    for minus, _order, index, column, why in offers:
        if index not in taken and column not in {c for c, _, _ in taken.values()} and -minus >= 0.4:
            taken[index] = (column, round(-minus, 2), why)
    if "cavity" not in {c for c, _, _ in taken.values()}:
        taken |= _by_values(len(headings), rows[:60], taken)
    return Headings(
        tuple(
            HeadingGuess(index=i, heading=heading, column=c, score=s, why=w)
            for i, heading in enumerate(headings)
            for c, s, w in (taken.get(i, ("", 0.0, "kept as a column of your own")),)
        )
    )


def _by_values(
    width: int, rows: Sequence[Sequence[str]], taken: Mapping[int, tuple[str, float, str]]
) -> dict[int, tuple[str, float, str]]:
    """Guesses from what stands in the columns that no heading has named."""
    free = [i for i in range(width) if i not in taken]
    values = {i: [r[i].strip() for r in rows if i < len(r) and r[i].strip()] for i in free}
    have = {c for c, _, _ in taken.values()}
    found: dict[int, tuple[str, float, str]] = {}

    def take(index: int, column: str, why: str) -> None:
        if column not in have:
            have.add(column)
            found[index] = (column, 0.5, why)

    cavities = [i for i in free if values[i] and all(len(v) <= 5 and _CAVITY.fullmatch(v) for v in values[i])]
    if cavities:
        most_varied = max(cavities, key=lambda i: (len(set(values[i])), -i))
        take(most_varied, "cavity", "short numbers or letters, hardly repeated")
    for column, reads in (("kind", parse_kind), ("direction", parse_direction), ("wire_colour", parse_colour)):
        for i in free:
            if i not in found and values[i] and sum(bool(reads(v)) for v in values[i]) >= 0.8 * len(values[i]):
                take(i, column, f"the values read as {BY_NAME[column].title.lower()}")
    rest = [i for i in free if i not in found and values[i]]
    if rest:
        longest = max(rest, key=lambda i: sum(map(len, values[i])) / len(values[i]))
        take(longest, "function", "the longest texts")
    repeated = [i for i in rest if i not in found and len(set(values[i])) * 3 <= len(values[i]) + 2]
    if repeated:
        take(repeated[0], "connector", "the same few values again and again")
    return found
