"""Electrical kinds: what each is, what meets what, and how other people write them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache, lru_cache

from pinmap.core.errors import TableGap
from pinmap.core.facts import sources
from pinmap.core.model.words import Direction, Evidence, Kind

LONGEST_WORDING = 100  # characters; longer text is no name of a kind, a direction or a sort of evidence


@dataclass(frozen=True, slots=True, kw_only=True)
class KindFacts:
    """What a kind is. max_v is the highest voltage that belongs on such a pin in service [V], None if not known."""

    kind: Kind
    name: str
    group: str
    max_v: float | None
    description: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Meeting:
    """Whether two kinds may be joined by a plain wire; if not, whether a relay, diode, resistor or converter between
    them can mend it; and why."""

    ok: bool
    isolator_ok: bool
    why: str


@cache
def all_kind_facts() -> dict[Kind, KindFacts]:
    """Facts of every kind, in the order of the vocabulary."""
    found = {}
    for row in sources.rows("kinds"):
        kind = Kind(row["kind"])
        found[kind] = KindFacts(
            kind=kind,
            name=row["name"],
            group=row["group"],
            max_v=float(row["max_v"]) if row["max_v"] else None,
            description=row["description"],
        )
    return found


def kind_facts(kind: Kind) -> KindFacts:
    """Facts of one kind. Raises TableGap."""
    try:
        return all_kind_facts()[kind]
    except KeyError:
        raise TableGap("kinds", kind) from None


@cache
def meets(a: Kind, b: Kind) -> Meeting:
    """What happens when a wire joins a pin of kind a to one of kind b; the same either way round.

    The table's rows are tried from top to bottom; a side names a kind, ``group:<group>``, or ``*``.
    """
    first, second = sorted((a, b), key=list(Kind).index)
    for row in sources.rows("kind_meetings"):
        for one, other in ((first, second), (second, first)):
            if one is other if row["a"] == "same" else _is(row["a"], one) and _is(row["b"], other):
                return Meeting(
                    ok=row["ok"] == "yes",
                    isolator_ok=row["isolator_ok"] == "yes",
                    why=row["why"].format(a=kind_facts(one).name, b=kind_facts(other).name),
                )
    raise TableGap("kind_meetings", (a.value, b.value))


def _is(pattern: str, kind: Kind) -> bool:
    if pattern.startswith("group:"):
        return kind_facts(kind).group == pattern.removeprefix("group:")
    return pattern in ("*", kind.value)


def plain(text: str) -> str:
    """Text for comparing: lower case, signs other than + and - as single spaces."""
    return re.sub(r"[^0-9a-zµ+-]+", " ", re.sub(r"(?<=[a-z0-9])[-_](?=[a-z0-9])", " ", text.casefold())).strip()


@cache
def _words(column: str) -> dict[str, str]:
    """Wording -> vocabulary value, the longest wording first."""
    found = {plain(row["text"]): row["meaning"] for row in sources.rows("pin_words") if row["column"] == column}
    if column == "kind":
        found |= {plain(word): kind.value for kind in Kind for word in (kind.value, kind.name)}
    return dict(sorted(found.items(), key=lambda pair: -len(pair[0])))


def parse_kind(text: str) -> Kind | None:
    """A kind from other people's words, such as ``KL15``, ``5 V ref`` or ``open collector``; None if none fits."""
    return _parse_kind(text) if len(text) <= LONGEST_WORDING else None


@lru_cache(maxsize=4096)
def _parse_kind(text: str) -> Kind | None:
    said = plain(text)
    bare = re.sub(r"^(din|kl|klemme|clamp|terminal|term)\s*(?=\d)", "", said)
    words = _words("kind")
    meaning = words.get(said) or words.get(bare) or words.get(bare.removesuffix("s"))
    return Kind(meaning) if meaning else None


def parse_direction(text: str) -> Direction | None:
    """A direction from other people's words, such as ``Output``, ``I/O`` or ``source``; None if none fits."""
    meaning = _words("direction").get(plain(text)) if len(text) <= LONGEST_WORDING else None
    return Direction(meaning) if meaning else None


def parse_evidence(text: str) -> tuple[Evidence, str]:
    """How well a pin is known and where from: ``manual p. 12-34`` is (manual, "p. 12-34").

    Only a word that says so counts as measured; text that names no evidence is kept as the reference of an
    assumption, so that nothing looks better proven than it is.
    """
    stripped = text.strip()
    said = plain(stripped[:LONGEST_WORDING])
    for word, meaning in _words("evidence").items():
        if said == word or said.startswith(word + " "):
            return Evidence(meaning), _after(stripped, len(word.split()))
    return Evidence.ASSUMED, stripped


def _after(text: str, words: int) -> str:
    rest = re.sub(rf"^\W*(?:\w+\W*?){{{words}}}(?=\W|$)", "", text, count=1)
    return rest.strip(" \t:;,-–—()[]")
