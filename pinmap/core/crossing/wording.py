"""Reads the words of a pin: what they name, and the marks that tell one of several from the others.

Marks are sides, poles, levels, numbers and the like. Two pins whose marks contradict each other are never one signal,
however alike their words are. Colours are not looked at.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from pinmap.core.crossing.abbreviations import READ_AS

Marks = frozenset[tuple[str, str]]  # (group, value)

_PHRASES = (
    (r"\b([kl])[\s_-]*(?:line|wire)\b", r"\1line"),
    (r"\b(?:sae[\s-]*)?j[\s-]?(\d{4})\b", r"j\1"),
    (r"\brear[- ](?:position|side)\b", "tail"),
    (r"\b(?:iso|din)\s*(?:9141|11898|14230|15031|15765|72552)(?:[-/:]\d+)*", " "),  # they add nothing to K line or CAN
    (r"\biso\s*(\d{4,5})(?:[-/](\d))?\b", r"iso\1x\2"),
    (r"\b(?:sae\s*)?(j\d{3,4})[/-]\d+", r"\1"),
    (r"\bl\s*/\s*h\b|\bl\.h\.?|\bleft[- ]hand(ed)?\b", "left"),
    (r"\br\s*/\s*h\b|\br\.h\.?|\bright[- ]hand(ed)?\b", "right"),
    (r"\ba\s*/\s*c\b|\bair[- ]?con(ditioning|ditioner)?\b", "ac"),
    (r"\bb\s*\+(?!\w)", "battery +"),
    (r"\bb\s*-(?!\w)", "battery -"),
    (r"\bback[- ]up\b", "reverse"),
    (r"\bside[- ]?(marker|light|lamp)s?\b", "marker lamp"),
    (r"\bhead[- ](lamp|light)s?\b|\bheadlights?\b", "headlamp"),
    (r"\btail[- ]?(lamp|light)s?\b|\brear (position|side) (lamp|light)s?\b", "tail lamp"),
    (r"\b(number|license|licence|registration)[- ]plates?\b", "plate"),
    (r"\bbank\W*(\d)\W*sensor\W*(\d)\b", r"b\1s\2"),
    (r"\b(no|nr|num)\s*[.:]?\s*(?=\d)|#|№", " "),
    (r"\b(batt|battery|bat|supply|injector|sensor|ckp|cmp)\s+pos\b", r"\1 +"),
    (r"(?<=[+-])ve\b", ""),
)
_VOLTS = re.compile(r"\+?\b(\d{1,2}(?:[.,]\d)?)\s*-?\s*(?:volts?|vdc|v)\b")
_CAVITY = r"(?:[a-z]?\d{1,3}[a-z]?|[a-z])\b"
_PINS = (
    r"(?:the\s+)?(?:\w+\s+(?=pin|contact|cavit))?(?:pins?|contacts?|cavit(?:y|ies)|circuits?|terminals?)\b\.?\s*"
    r"(?:nos?\b\.?\s*)?(?:\(pins\)\s*)?"
)
_LIST = rf"(?P<pins>{_CAVITY}(?:\s*(?:-|–|to|through|and|&|\+|,|/)\s*(?:pins?\s+|contacts?\s+)?{_CAVITY})*)"
_RETURN = r"(?P<back>\b(?:ground|gnd|earth|return|31|minus|negative|neg|-))\W{0,3}(?:line )?\(?\s*"
_SERVES = (
    re.compile(rf"{_RETURN}(?:for|to|of)\s+(?:{_PINS})?{_LIST}"),  # ground for pins 1-8
    re.compile(rf"{_RETURN}{_PINS}{_LIST}"),  # ground (pins 1 to 8)
    re.compile(rf"{_RETURN}(?P<pins>\d{{1,2}}\s*(?:-|–|to)\s*\d{{1,2}}\b)"),  # ground 1-8
)
_ASIDE = re.compile(
    r"\((?=[^()]*(?:\b(?:old|see|link|formerly|also|e\.?g|another|optional|type|note|was)\b|\w\W+\w+\W+\w+\W+\w))[^()]*\)"
)
_EMPTY = re.compile(
    r"^\W*(?:(?:spare|reserved?|unused|not (?:used|connected|assigned|allocated|populated)|n[./]?c\.?|"
    r"no (?:connection|allocation|function)|"
    r"none|blank|empty|free|vacant|unassigned|unallocated|discretionary|"
    r"(?:(?:vehicle )?(?:maker|manufacturer|oem)s?'?s?(?: |-|$)"
    r"(?:specific|defined|discretion(?:ary)?|use|option(?:al)?|reserved)?)"
    r")\b.*|[-–—.?x/]*)$"
)
_TOKEN = re.compile(r"[a-z0-9]+|[+-]")
_STANDARDS = frozenset({"9141"})  # numbers of standards that people write without their prefix
_SPLIT = re.compile(r"\d+|[a-z]+")
_BUSES = frozenset({"can", "j1939", "canbus"})
_WORD_GROUPS: dict[str, str] = {
    "left": "side", "right": "side", "front": "axle", "rear": "axle", "intake": "flow", "exhaust": "flow",
    "+": "pole", "-": "pole", "high": "level", "low": "level", "heater": "heater", "shield": "role", "ground": "role",
    "return": "role", "supply": "role", "reference": "role",
    "signal": "role", "can": "bus", "j1850": "bus", "j1708": "bus", "j1939": "bus", "lin": "bus",
}  # fmt: skip
_ROLE = {"return": "ground", "reference": "supply"}  # values that are the same role
_ROLES = ("shield", "ground", "supply", "signal")
_BUS = {"j1939": "can"}
DIN_NUMBERS = frozenset(
    str(n)
    for n in (
        1,
        2,
        4,
        7,
        15,
        17,
        19,
        *range(30, 34),
        44,
        45,
        *range(48, 51),
        *range(53, 60),
        61,
        71,
        75,
        76,
        85,
        86,
        87,
        88,
    )
)


@dataclass(frozen=True, slots=True)
class Reading:
    """The words of a pin, read. ``words`` are sorted; ``marks`` tell one of several from the others; ``serves`` are
    the cavities that a ground says it is for; ``empty`` says that nothing is connected or nobody says what."""

    text: str
    exact: str
    words: tuple[str, ...]
    marks: Marks
    serves: tuple[str, ...] = ()
    empty: bool = False

    def mark(self, group: str) -> str:
        return next((value for g, value in self.marks if g == group), "")

    @property
    def numbers(self) -> tuple[str, ...]:
        return tuple(sorted(value for g, value in self.marks if g == "number"))


def fold(text: str) -> str:
    """Lower case without accents, one blank between words."""
    flat = unicodedata.normalize("NFKD", text[:400].replace("ß", "ss").replace("−", "-"))
    return " ".join("".join(c for c in flat if not unicodedata.combining(c)).casefold().split())


def singular(word: str) -> str:
    """A plain plural's singular; words that merely end in s stay."""
    if len(word) <= 3 or not word.endswith("s") or word.endswith(("ss", "us", "is")):
        return word
    if word.endswith("ies") and len(word) > 5:
        return word[:-3] + "y"
    return word[:-2] if word.endswith(("sses", "xes", "ches", "shes")) else word[:-1]


@lru_cache(maxsize=65536)
def read(text: str) -> Reading:
    """Reads the words of one pin. Never raises; what cannot be read is left as it stands."""
    folded = fold(text)
    serves: tuple[str, ...] = ()
    rest = folded
    for pattern in _SERVES:
        if found := pattern.search(folded):
            serves = _cavities(found["pins"])
            rest = f"{folded[: found.end('back')]} {folded[found.end() :].lstrip(')')}"
            break
    rest = _ASIDE.sub(" ", rest) if _ASIDE.sub("", rest).strip() else rest
    marks: set[tuple[str, str]] = set()
    for phrase, plain in _PHRASES:
        rest = re.sub(phrase, plain, rest)
    for volts in _VOLTS.findall(rest):
        marks.add(("volts", volts.replace(",", ".")))
    rest = _VOLTS.sub(lambda m: f" {m.group(1).replace(',', '').replace('.', '')}v ", rest)
    tokens = [t for raw in _poles(rest) for t in _parts(raw)]
    words = _words(tokens, marks)
    # "exact" keeps everything that was written, so that a synonym such as 58R or B+ is found as it stands
    exact = re.sub(r"[^a-z0-9+/-]+", "", folded)
    return Reading(
        text=" ".join(sorted(words)),
        exact=exact,
        words=tuple(sorted(set(words))),
        marks=frozenset(marks),
        serves=serves,
        empty=bool(_EMPTY.match(folded)),
    )


def conflicts(a: Marks, b: Marks) -> tuple[str, ...]:
    """Groups in which both are marked, differently."""
    if not a or not b:
        return ()
    of_a, of_b = _by_group(a), _by_group(b)
    return tuple(group for group, values in of_a.items() if of_b.get(group, values) != values)


def one_sided(a: Marks, b: Marks) -> tuple[str, ...]:
    """Groups in which only one of the two is marked."""
    if a == b:
        return ()
    return tuple(sorted(_by_group(a).keys() ^ _by_group(b).keys()))


@lru_cache(maxsize=16384)
def _by_group(marks: Marks) -> dict[str, frozenset[str]]:
    groups = sorted({group for group, _ in marks})
    return {group: frozenset(v for g, v in marks if g == group) for group in groups}


def _cavities(text: str) -> tuple[str, ...]:
    """ "1-8" as 1 to 8, "2 and 4" as 2 and 4."""
    out: list[str] = []
    pieces = re.split(r"\s*(?:,|and|&|\+|/)\s*", re.sub(r"\b(?:pins?|contacts?)\s+", "", text))
    for piece in pieces:
        ends = re.split(r"\s*(?:-|–|to|through)\s*", piece.strip())
        if len(ends) == 2 and ends[0].isdecimal() and ends[1].isdecimal() and 0 <= int(ends[1]) - int(ends[0]) < 100:
            out += [str(n) for n in range(int(ends[0]), int(ends[1]) + 1)]
        else:
            out += [e for e in ends if e]
    return tuple(out)


def _poles(text: str) -> list[str]:
    """Tokens; a dash counts as the minus pole only behind a word and before a blank, a bracket or the end, or in
    brackets alone; a plus counts always."""
    text = re.sub(r"\(\s*\+\s*\)", " + ", re.sub(r"\(\s*-\s*\)", " ~ ", text))
    text = re.sub(r"(?<=[a-z0-9)])-(?=\s|$|[),;/])", " ~ ", text)
    text = re.sub(r"\s-\s*$", " ~ ", text)
    return _TOKEN.findall(text.replace("-", " ").replace("~", "-"))


def _parts(run: str) -> list[str]:
    """Standards and DIN marks stay whole (J1850, 58R, 87a); other runs of letters and digits are parted."""
    if re.fullmatch(r"b\ds\d|iso\d+x\d?|[js]\d{3,4}|\d{1,2}v|h?o2s?|\d{5,}", run) or run.isalpha() or run in "+-":
        return [run]
    din = re.fullmatch(r"(\d{1,2})([a-z])", run)
    if din and din.group(1) in DIN_NUMBERS:
        return [run]
    return _SPLIT.findall(run)


def _words(tokens: list[str], marks: set[tuple[str, str]]) -> list[str]:
    """The words that name something; numbers and track letters go to the marks only, sides and poles to both."""
    tokens = [READ_AS.get(t, READ_AS.get(singular(t), singular(t))) for t in tokens]
    tokens = [t for t in tokens if t]
    has_bus = bool(_BUSES.intersection(tokens))
    several = any(len(t) > 1 for t in tokens)
    words: list[str] = []
    for written in tokens:
        word = _letter(written, has_bus) if several and len(written) == 1 else written
        if several and len(word) == 1 and word in "abcdef":
            marks.add(("track", word))
        elif re.fullmatch(r"b\ds\d", word):
            marks.add(("number", word))
        elif word in _STANDARDS:
            continue
        elif word.isdecimal() and len(word) <= 4:
            marks.add(("number", str(int(word))))
        else:
            group = _WORD_GROUPS.get(word)
            if group:
                marks.add((group, _ROLE.get(word, _BUS.get(word, word))))
            words.append(word)
    if "battery" in words and ("pole", "-") in marks:
        marks.add(("role", "ground"))
    elif "battery" in words and ("pole", "+") in marks:
        marks.add(("role", "supply"))
    for role in _ROLES:  # a signal ground is a ground, a shield ground a shield
        if ("role", role) in marks:
            marks.difference_update({("role", other) for other in _ROLES if other != role})
            break
    return words


def _letter(letter: str, has_bus: bool) -> str:
    """What a letter on its own means beside other words: a wire of a bus, or a side."""
    if has_bus and letter in "hl+-":
        return {"h": "high", "l": "low", "+": "high", "-": "low"}[letter]
    return {"l": "left", "r": "right"}.get(letter, letter)
