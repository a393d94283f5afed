"""Maps the words of a pin to an entry of the function dictionary, and says why and how surely."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from rapidfuzz import fuzz, process

from pinmap.core.crossing.wording import DIN_NUMBERS, Marks, Reading, conflicts, one_sided, read
from pinmap.core.facts.functions import Dictionary, FunctionEntry
from pinmap.core.facts.kinds import meets
from pinmap.core.model.pinouts import Pin
from pinmap.core.model.words import Kind

LEAST_SCORE = 0.5  # below this the words are not recognised
FIRM_SCORE = 0.75  # from here on two pins of the same code count as the same function
_RIVAL_WITHIN = 0.08  # another entry this near makes the reading ambiguous
_AMBIGUOUS_SCORE = 0.6
_FUZZY_TOP = 0.9
# Marks that the dictionary has under a special part and that mean the general thing where they stand alone.
_MEANS_ALONE = {"b+": "PERM", "b-": "GND"}
_SHORT = 3  # B+, L, R: so short that other readings of the same letters are looked at too
_DIN_BONUS = 0.25  # what a DIN 72552 designation beside fitting words adds
_TYPO_RATIO = 86.0  # rapidfuzz ratio from which an unknown word counts as a misspelt known one
_TYPO_LENGTH = 5
# What a mark that the dictionary's words have and the pin's words lack, or the other way round, leaves of the score.
_LACKS = {"side": 0.75, "level": 0.75, "pole": 0.85, "axle": 0.8, "flow": 0.75, "number": 0.75, "track": 0.8,
          "volts": 0.95, "role": 0.85, "bus": 0.9}  # fmt: skip
_EXTRA = {"role": 0.75, "bus": 0.9, "level": 0.9, "pole": 0.95, "axle": 0.95, "side": 0.97, "flow": 0.9,
          "volts": 0.97, "track": 0.98, "number": 0.99}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Recognition:
    """What the words were recognised as. ``rivals`` are other codes that fit as well; ``marks`` are what tells this
    pin from others of the same function."""

    code: str
    score: float
    why: str
    rivals: tuple[tuple[str, float], ...] = ()
    marks: Marks = frozenset()


@dataclass(frozen=True, slots=True)
class _Phrase:
    entry: FunctionEntry
    said: str
    reading: Reading


@dataclass
class _Index:
    dictionary: Dictionary
    phrases: list[_Phrase] = field(default_factory=list)
    as_written: dict[str, dict[str, str]] = field(default_factory=lambda: defaultdict(dict))
    as_read: dict[tuple[object, ...], dict[str, str]] = field(default_factory=lambda: defaultdict(dict))
    with_word: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))
    weight: dict[str, float] = field(default_factory=dict)
    total: list[float] = field(default_factory=list)  # weight of all words of each phrase
    name_marks: dict[str, Marks] = field(default_factory=dict)
    typos: dict[str, tuple[str, float]] = field(default_factory=dict)
    alike: dict[tuple[tuple[str, ...], float], list[tuple[_Phrase, float]]] = field(default_factory=dict)
    designates: dict[str, tuple[str, ...]] = field(default_factory=dict)
    seen: dict[tuple[str, Kind | None], Recognition | None] = field(default_factory=dict)


_SEEN_MAX = 50_000
_indexes: dict[int, _Index] = {}


def recognise(text: str, dictionary: Dictionary, *, kind: Kind | None = None) -> Recognition | None:
    """The function that these words name, or None. ``kind`` supports or vetoes; colours are never looked at.

    When several functions fit equally well the score stays at 0.6 or below and the others stand in ``rivals``.
    """
    index = _index(dictionary)
    key = (text, kind)
    if key not in index.seen:
        if len(index.seen) > _SEEN_MAX:
            index.seen.clear()
        index.seen[key] = _recognise(text, index, None if kind == Kind.UNKNOWN else kind)
    return index.seen[key]


def recognise_all(pins: Sequence[Pin], dictionary: Dictionary) -> tuple[Recognition | None, ...]:
    """One reading for each pin, in order. A function code given with the pin holds; words that fit several functions
    are decided by what the other pins of the same connector are, where that decides."""
    first = [_of_pin(pin, dictionary) for pin in pins]
    groups: dict[str, Counter[str]] = defaultdict(Counter)
    for pin, found in zip(pins, first, strict=True):
        if found is not None and not found.rivals:
            groups[pin.connector][dictionary.by_code[found.code].group] += 1
    out: list[Recognition | None] = []
    for pin, found in zip(pins, first, strict=True):
        around = groups[pin.connector]
        if found is not None and found.rivals:
            found = _by_neighbours(found, around, dictionary)
        elif around and not pin.function_code:
            found = _in_group(pin, found, around, dictionary)
        out.append(found)
    return tuple(out)


def _in_group(pin: Pin, found: Recognition | None, groups: Counter[str], dictionary: Dictionary) -> Recognition | None:
    """A bare designation among pins of one group, such as 30 among a relay's 85, 86 and 87a, means that group's."""
    group, number = max(groups.items(), key=lambda item: (item[1], item[0]))
    exact = read(pin.function).exact
    bare = exact[:2].rstrip("abdg").isdecimal() and len(exact) <= _SHORT
    if number < 2 or not (bare or exact in _MEANS_ALONE):
        return found
    index = _index(dictionary)
    hits = {**index.as_written.get(read(f"{group} {exact}").exact, {}), **index.as_written.get(exact, {})}
    codes = [code for code in hits if dictionary.by_code[code].group == group]
    if len(codes) != 1 or (found is not None and found.code == codes[0]):
        return found
    marks = index.name_marks[codes[0]]
    return Recognition(codes[0], 0.95, f"{exact} among other pins of the group {group!r}", (), marks)


def _of_pin(pin: Pin, dictionary: Dictionary) -> Recognition | None:
    if pin.function_code and dictionary.get(pin.function_code) is not None:
        own = _index(dictionary).name_marks[pin.function_code]
        marks = _with_name_marks(read(pin.function).marks, own)
        return Recognition(pin.function_code, 1.0, "the function code stands with the pin", (), marks)
    return recognise(pin.function, dictionary, kind=pin.kind)


def _by_neighbours(found: Recognition, groups: Counter[str], dictionary: Dictionary) -> Recognition:
    """Decides between rivals when one of them is of the group most of the connector's sure pins are of."""
    codes = {found.code: found.score, **dict(found.rivals)}
    votes = {code: groups[dictionary.by_code[code].group] for code in codes}
    best = max(votes.values())
    leaders = [code for code, n in votes.items() if n == best]
    rest = sum(votes[code] for code in codes if code not in leaders)
    if len(leaders) > 1 or best < 2 or best <= 2 * rest:
        return found
    code = leaders[0]
    group = dictionary.by_code[code].group
    own = _index(dictionary).name_marks
    marks = found.marks if code == found.code else _with_name_marks(found.marks - own[found.code], own[code])
    return Recognition(
        code,
        0.85,
        f"{found.why}; of the functions that fit, this one is of the group {group!r} as {best} other pins of the "
        "connector are",
        (),
        marks,
    )


def _index(dictionary: Dictionary) -> _Index:
    held = _indexes.get(id(dictionary))
    if held is None or held.dictionary is not dictionary:
        if len(_indexes) >= 8:
            _indexes.clear()
        held = _indexes[id(dictionary)] = _build(dictionary)
    return held


def _build(dictionary: Dictionary) -> _Index:
    index = _Index(dictionary)
    for entry in dictionary.by_code.values():
        index.name_marks[entry.code] = read(entry.name).marks
        for said in (entry.code.replace("_", " "), entry.name, *entry.synonyms):
            reading = read(said)
            if reading.serves:
                continue  # which pins a ground serves is another connector's numbering; see features
            index.as_written[reading.exact].setdefault(entry.code, said)
            if not reading.words:
                continue
            if entry.code != _MEANS_ALONE.get(reading.exact, entry.code):
                continue
            index.as_read[_reading_key(reading.words, reading.marks)].setdefault(entry.code, said)
            index.phrases.append(_Phrase(entry, said, reading))
    uses: Counter[str] = Counter()
    carriers: dict[str, set[str]] = defaultdict(set)
    for number, phrase in enumerate(index.phrases):
        for word in phrase.reading.words:
            index.with_word[word].append(number)
            carriers[word].add(phrase.entry.code)
    uses.update({word: len(codes) for word, codes in carriers.items()})
    total = max(len(dictionary.by_code), 1)
    index.weight = {word: math.log(1.0 + total / n) for word, n in uses.items()}
    index.total = [sum(index.weight[w] for w in phrase.reading.words) for phrase in index.phrases]
    return index


def _reading_key(words: Iterable[str], marks: Marks) -> tuple[object, ...]:
    return (tuple(words), frozenset(m for m in marks if m[0] in ("number", "track", "volts")))


def _recognise(text: str, index: _Index, kind: Kind | None) -> Recognition | None:
    reading = read(text)
    as_written = {} if reading.serves else index.as_written.get(reading.exact, {})
    alone = _MEANS_ALONE.get(reading.exact, "")
    if alone in index.dictionary.by_code:
        as_written = {alone: reading.exact}
    hits = dict.fromkeys(as_written, 1.0)
    why = {code: f"{said!r} is a name of it" for code, said in as_written.items()}
    if reading.words and (not hits or len(reading.exact) <= _SHORT):
        for code, said in index.as_read.get(_reading_key(reading.words, reading.marks), {}).items():
            if code not in hits and not conflicts(reading.marks, read(said).marks):
                hits[code], why[code] = 0.97, f"the same words as {said!r}"
    if reading.words and not hits:
        plain = frozenset(m for m in reading.marks if m[0] not in ("number", "track"))
        for code, said in index.as_read.get(_reading_key(reading.words, plain), {}).items():
            if not conflicts(reading.marks, read(said).marks):
                hits[code], why[code] = 0.95, f"the same words as {said!r}, apart from the number"
    if not hits and reading.words and not reading.empty:
        for code, (score, reason) in _fuzzy(reading, index).items():
            hits[code], why[code] = score, reason
    if not hits:
        return None
    if kind is not None:
        _weigh_kind(hits, why, kind, index)
    return _choose(reading, hits, why, index)


def _fuzzy(reading: Reading, index: _Index) -> dict[str, tuple[float, str]]:
    """Token-set likeness weighted by rarity; marks that contradict rule a phrase out."""
    designated = {code: mark for mark in (*reading.words, *reading.numbers) for code in _designates(mark, index)}
    least = LEAST_SCORE / _FUZZY_TOP
    best: dict[str, tuple[float, str]] = {}
    for phrase, alike in _alike(reading.words, index, least - _DIN_BONUS if designated else least):
        code = phrase.entry.code
        mark = designated.get(code, "")
        score = min(1.0, alike + _DIN_BONUS) if mark else alike
        if score <= best.get(code, (least, ""))[0]:
            continue
        marks = reading.marks - {("number", mark)}
        if conflicts(marks, phrase.reading.marks) or _contradicts_name(marks, index.name_marks[code]):
            continue
        score *= _mark_factor(marks, phrase.reading.marks)
        if score > best.get(code, (least, ""))[0]:
            tail = f" and the designation {mark}" if mark else ""
            best[code] = (score, f"much like {phrase.said!r}{tail}")
    return {code: (score * _FUZZY_TOP, why) for code, (score, why) in best.items()}


def _contradicts_name(marks: Marks, name: Marks) -> bool:
    return any(group in ("role", "pole", "side", "level") for group in conflicts(marks, name))


def _alike(words: tuple[str, ...], index: _Index, least: float) -> list[tuple[_Phrase, float]]:
    """Phrases that share enough words, best first, whatever their marks."""
    key = (words, least)
    if key in index.alike:
        return index.alike[key]
    unknown = math.log(1.0 + len(index.dictionary.by_code)) * 0.4
    said: dict[str, float] = {}  # known word -> how surely it was meant
    total = 0.0
    for word in words:
        meant, ratio = _meant(word, index)
        if meant:
            said[meant] = max(said.get(meant, 0.0), ratio)
        total += index.weight[meant] if meant else unknown
    # A phrase that shares only the commonest words cannot come near enough, so these open no candidates.
    by_rarity = sorted(said, key=lambda word: (index.weight[word], word))
    rest = 0.0
    while by_rarity and 2.0 * (rest + index.weight[by_rarity[0]]) / (total + rest + index.weight[by_rarity[0]]) < least:
        rest += index.weight[by_rarity.pop(0)]
    found = []
    for number in {n for word in by_rarity for n in index.with_word[word]}:
        phrase = index.phrases[number]
        shared = sum(index.weight[w] * said[w] for w in phrase.reading.words if w in said)
        alike = 2.0 * shared / (total + index.total[number])
        if alike >= least:
            found.append((alike, number))
    found.sort(key=lambda hit: (-hit[0], hit[1]))
    if len(index.alike) > _SEEN_MAX:
        index.alike.clear()
    index.alike[key] = [(index.phrases[number], alike) for alike, number in found]
    return index.alike[key]


def _designates(mark: str, index: _Index) -> tuple[str, ...]:
    """Codes whose DIN 72552 designation this is: it is a name of theirs, or the end of their code (RLY_30)."""
    if mark not in index.designates:
        is_din = mark.rstrip("abdeglr") in DIN_NUMBERS
        codes = [code for code in index.dictionary.by_code if code.endswith(f"_{mark}")] if is_din else []
        index.designates[mark] = tuple(dict.fromkeys([*index.as_written.get(mark, {}), *codes])) if is_din else ()
    return index.designates[mark]


def _meant(word: str, index: _Index) -> tuple[str, float]:
    """The dictionary's word that this one is, or is a misspelling of; "" for none."""
    if word in index.weight:
        return word, 1.0
    if word not in index.typos:
        found = None
        if len(word) >= _TYPO_LENGTH:
            known = [w for w in index.weight if len(w) >= _TYPO_LENGTH]
            found = process.extractOne(word, known, scorer=fuzz.ratio, score_cutoff=_TYPO_RATIO)
        index.typos[word] = (found[0], found[1] / 100.0) if found else ("", 0.0)
    return index.typos[word]


def _mark_factor(pin: Marks, phrase: Marks) -> float:
    factor = 1.0
    of_phrase = {group for group, _ in phrase}
    for group in one_sided(pin, phrase):
        if group == "role" and ("role", "signal") in pin:
            continue  # a sensor's plain name means its signal
        factor *= (_LACKS if group in of_phrase else _EXTRA).get(group, 0.9)
    return factor


def _weigh_kind(hits: dict[str, float], why: dict[str, str], kind: Kind, index: _Index) -> None:
    """The pin's kind supports a function of the same kind and speaks against one that it cannot meet."""
    for code in hits:
        usual = index.dictionary.by_code[code].kind
        if usual == Kind.UNKNOWN:
            continue
        if usual == kind:
            hits[code] = min(1.0, hits[code] + 0.05)
            why[code] += f"; its kind is {kind} too"
        elif not meets(usual, kind).ok:
            hits[code] *= 0.7
            why[code] += f"; but its kind is {usual}, the pin's is {kind}"


def _choose(reading: Reading, hits: dict[str, float], why: dict[str, str], index: _Index) -> Recognition | None:
    ranked = sorted(hits, key=lambda code: (-hits[code], code))
    best = ranked[0]
    score = hits[best]
    if score < LEAST_SCORE:
        return None
    rivals = tuple((code, round(hits[code], 3)) for code in ranked[1:] if hits[code] >= score - _RIVAL_WITHIN)
    reason = why[best]
    if rivals:
        score = min(score, _AMBIGUOUS_SCORE)
        names = ", ".join(index.dictionary.by_code[code].name for code, _ in rivals[:4])
        reason += f"; but it could be {names} as well"
    if best in index.as_written.get(reading.exact, {}):
        own = frozenset(m for m in reading.marks if m[0] not in ("number", "track"))  # they are part of the name
    else:
        own = reading.marks - {("number", d) for d in reading.numbers if best in _designates(d, index)}
    marks = _with_name_marks(own, index.name_marks[best])
    return Recognition(best, round(score, 3), reason, rivals, marks)


def _with_name_marks(own: Marks, of_name: Marks) -> Marks:
    """The pin's marks, and those of the function's name in groups that the pin's words leave open."""
    groups = {group for group, _ in own}
    return own | {mark for mark in of_name if mark[0] not in groups}


def unambiguous(found: Recognition | None) -> bool:
    """Whether the words name one function firmly."""
    return found is not None and not found.rivals and found.score >= FIRM_SCORE
