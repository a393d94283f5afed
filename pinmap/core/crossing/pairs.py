"""Proposes which pin of one side meets which of the other.

Candidates are found by function and by rare words, scored, and assigned so that the sum of confidences is greatest.
Pins that look alike in everything are one class, so that neither their number nor their names matter to the outcome.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np

from pinmap.core.crossing.assignment import Edge, assign
from pinmap.core.crossing.features import Features, features, place_order
from pinmap.core.crossing.likeness import FAIR, HIGH, LEAST, Context, Score, likeness
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.pinouts import Pin, PinKey, Platform
from pinmap.core.model.words import Kind, natural_key

MARGIN = 0.12  # a rival nearer than this makes a pair doubtful
_TIE = 0.03
_DOUBTFUL, _TIED = 0.7, 0.6  # the most that a doubtful, and a tied, pair can have
_RARE_WORDS = 4
_POSTINGS_MAX = 60
_GENERAL_MAX = 40_000
_RIVALS_SHOWN = 6
_RIVALS_LOOKED_AT = 24


@dataclass(frozen=True, slots=True)
class Proposal:
    """A pin of side a and one of side b that probably belong to one signal. ``rivals`` are other pins, of either
    side, that one of the two fits as well or nearly, with their confidences."""

    a: PinKey
    b: PinKey
    function_code: str
    function: str
    confidence: float
    reasons: tuple[str, ...]
    rivals: tuple[tuple[PinKey, float], ...] = ()

    @property
    def level(self) -> str:
        return level(self.confidence)

    @property
    def members(self) -> tuple[PinKey, ...]:
        return (self.a, self.b)

    @property
    def name(self) -> str:
        return self.function


@dataclass(frozen=True, slots=True)
class Crossing:
    """Pairs in the order of side a's pins, and what stayed without a partner on either side."""

    pairs: tuple[Proposal, ...]
    left_a: tuple[PinKey, ...]
    left_b: tuple[PinKey, ...]


def level(confidence: float) -> str:
    """ "high" from 0.8, "fair" from 0.5, "low" below."""
    return "high" if confidence >= HIGH else "fair" if confidence >= FAIR else "low"


def cross(
    side_a: Platform, side_b: Platform, dictionary: Dictionary, *, edition_a: str = "", edition_b: str = ""
) -> Crossing:
    """The best assignment between two sides' pins. Symmetric: sides exchanged give the mirror image."""
    return cross_features(
        features(edition_pins(side_a, edition_a), dictionary, side_a.nominal_v),
        features(edition_pins(side_b, edition_b), dictionary, side_b.nominal_v),
    )


def edition_pins(platform: Platform, edition: str) -> dict[PinKey, Pin]:
    """The pins that a platform has in an edition; all of them for ""."""
    limits = {c.name: c.editions for c in platform.connectors}
    return {
        pin.key(platform.key): pin
        for pin in platform.pins
        if pin.in_edition(edition)
        and (not edition or not limits.get(pin.connector) or edition in limits[pin.connector])
    }


@dataclass(frozen=True, slots=True)
class _Class:
    """Pins of one side that look alike, in place order."""

    text: str  # the looks as text, to sort by
    pins: tuple[Features, ...]

    @property
    def first(self) -> Features:
        return self.pins[0]


_Choice = tuple[int, int, Features, Features]  # classes of a and b, and a pin of each


def cross_features(side_a: Sequence[Features], side_b: Sequence[Features]) -> Crossing:
    """As ``cross``, from the pins' features."""
    context = Context(side_a, side_b)
    classes_a, classes_b = _classes(side_a), _classes(side_b)
    edges: dict[tuple[int, int], Score] = {}
    for i, j in _candidates(classes_a, classes_b):
        score = likeness(classes_a[i].first, classes_b[j].first, context)
        if score is not None:
            edges[i, j] = score
    pairs = _pairs(classes_a, classes_b, edges)
    order = {item.key: n for n, item in enumerate(side_a)}
    pairs.sort(key=lambda pair: order[pair.a])
    taken_a, taken_b = {p.a for p in pairs}, {p.b for p in pairs}
    return Crossing(
        tuple(pairs),
        tuple(item.key for item in side_a if item.key not in taken_a),
        tuple(item.key for item in side_b if item.key not in taken_b),
    )


def _classes(side: Sequence[Features]) -> list[_Class]:
    groups: dict[tuple[object, ...], list[Features]] = defaultdict(list)
    for item in side:
        if not item.blank:
            groups[item.looks].append(item)
    company: dict[str, list[str]] = defaultdict(list)
    for item in side:
        company[item.key.connector].append(repr(item.looks))
    signature = {name: sorted(texts) for name, texts in company.items()}

    def order(item: Features) -> tuple[object, ...]:
        cavity, edition, connector, platform = place_order(item)
        return (cavity, edition, signature[item.key.connector], connector, platform)

    return sorted((_Class(repr(looks), tuple(sorted(items, key=order))) for looks, items in groups.items()), key=_text)


def _text(item: _Class) -> str:
    return item.text


def _candidates(classes_a: list[_Class], classes_b: list[_Class]) -> Iterator[tuple[int, int]]:
    """Pairs of classes worth scoring: same or rival function, same general supply or ground, a rare word shared."""
    seen: set[tuple[int, int]] = set()
    for index in (_by_function, _by_words):
        for i, j in index(classes_a, classes_b):
            if (i, j) not in seen:
                seen.add((i, j))
                yield i, j


def _by_function(classes_a: list[_Class], classes_b: list[_Class]) -> Iterator[tuple[int, int]]:
    """By function code and number; a pin without a number meets those with any."""
    for keys in (_code_keys, _kind_keys):
        shelf_a, shelf_b = _shelve(classes_a, keys), _shelve(classes_b, keys)
        for key, at_a in shelf_a.items():
            at_b = shelf_b.get(key)
            if at_b is None or (keys is _kind_keys and len(_all(at_a)) * len(_all(at_b)) > _GENERAL_MAX):
                continue
            for numbers, items in at_a.items():
                others = _all(at_b) if not numbers else [*at_b.get(numbers, []), *at_b.get((), [])]
                for i in items:
                    for j in others:
                        yield i, j


def _code_keys(item: Features) -> Iterable[str]:
    """Its codes, and their general forms, so that tail meets left tail."""
    keys = dict.fromkeys(item.codes)
    for code in item.codes:
        stem = code.removesuffix("_L").removesuffix("_R") if code.endswith(("_L", "_R")) else code.rstrip("0123456789_")
        keys.setdefault(stem or code)
    return keys


def _kind_keys(item: Features) -> Iterable[str]:
    general = item.kind in (Kind.GROUND, Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75, Kind.SUPPLY_50, Kind.SUPPLY_87)
    return ("ground",) if item.ground else (item.kind.value,) if general else ()


def _shelve(
    classes: list[_Class], keys: Callable[[Features], Iterable[str]]
) -> dict[str, dict[tuple[str, ...], list[int]]]:
    shelf: dict[str, dict[tuple[str, ...], list[int]]] = defaultdict(lambda: defaultdict(list))
    for i, item in enumerate(classes):
        numbers = tuple(sorted(value for group, value in item.first.marks if group == "number"))
        for key in keys(item.first):
            shelf[key][numbers].append(i)
    return shelf


def _all(by_numbers: dict[tuple[str, ...], list[int]]) -> list[int]:
    return [i for items in by_numbers.values() for i in items]


def _by_words(classes_a: list[_Class], classes_b: list[_Class]) -> Iterator[tuple[int, int]]:
    """By the rarest words of the side that has more words, and by the whole text."""
    uses: dict[str, int] = defaultdict(int)
    for item in (*classes_a, *classes_b):
        for word in item.first.reading.words:
            uses[word] += 1
    shelf_a, shelf_b = _word_shelf(classes_a, uses), _word_shelf(classes_b, uses)
    for key, at_a in shelf_a.items():
        at_b = shelf_b.get(key)
        if at_b is None or (len(at_a) * len(at_b) > _POSTINGS_MAX**2 and key[0] == "word"):
            continue
        for i in at_a:
            for j in at_b:
                yield i, j


def _word_shelf(classes: list[_Class], uses: dict[str, int]) -> dict[tuple[object, ...], list[int]]:
    shelf: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for i, item in enumerate(classes):
        reading = item.first.reading
        shelf["text", reading.words, tuple(sorted(reading.marks))].append(i)
        for word in sorted(reading.words, key=lambda w: (uses[w], w))[:_RARE_WORDS]:
            shelf["word", word, reading.numbers].append(i)
    return shelf


def _pairs(classes_a: list[_Class], classes_b: list[_Class], edges: Mapping[tuple[int, int], Score]) -> list[Proposal]:
    if not edges:
        return []
    # imported where it is used: it loads for long, and the app can start without
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    total = len(classes_a) + len(classes_b)
    at = ([i for i, _ in edges], [len(classes_a) + j for _, j in edges])
    _, label = connected_components(coo_array((np.ones(len(edges)), at), shape=(total, total)), directed=False)
    by_component: dict[int, list[Edge]] = defaultdict(list)
    for (i, j), score in sorted(edges.items(), key=lambda edge: edge[0]):
        by_component[int(label[i])].append((i, j, score.confidence))
    chosen: list[_Choice] = []
    for component in by_component.values():
        chosen += _assign(component, classes_a, classes_b)
    return _with_rivals(chosen, classes_a, classes_b, edges)


def _assign(inside: list[Edge], classes_a: list[_Class], classes_b: list[_Class]) -> list[_Choice]:
    """The assignment of greatest total confidence within one component.

    The side whose looks sort first gives the rows, so that exchanging sides cannot change which of several equal
    assignments is found.
    """
    of_rows = {i: len(classes_a[i].pins) for i in sorted({i for i, _, _ in inside})}
    of_columns = {j: len(classes_b[j].pins) for j in sorted({j for _, j, _ in inside})}
    exchange = _rank([classes_b[j] for j in of_columns]) < _rank([classes_a[i] for i in of_rows])
    if exchange:
        of_rows, of_columns = of_columns, of_rows
        inside = sorted((j, i, gain) for i, j, gain in inside)
    if len(inside) == 1:
        i, j, _ = inside[0]
        places = [(i, n, j, n) for n in range(min(of_rows[i], of_columns[j]))]
    else:
        places = assign(of_rows, of_columns, inside)
    if exchange:
        places = [(j, m, i, n) for i, n, j, m in places]
    return [(i, j, classes_a[i].pins[n], classes_b[j].pins[m]) for i, n, j, m in places]


def _rank(classes: list[_Class]) -> tuple[object, ...]:
    """By what the pins are; only between sides that are the same in everything by the platform's key."""
    looks = [(item.text, len(item.pins)) for item in classes]
    cavities = [natural_key(pin.key.cavity) for item in classes for pin in item.pins]
    return looks, cavities, classes[0].first.key.platform


def _with_rivals(
    chosen: list[_Choice],
    classes_a: list[_Class],
    classes_b: list[_Class],
    edges: Mapping[tuple[int, int], Score],
) -> list[Proposal]:
    of_a: dict[int, list[tuple[float, int]]] = defaultdict(list)
    of_b: dict[int, list[tuple[float, int]]] = defaultdict(list)
    for (i, j), score in edges.items():
        of_a[i].append((-score.confidence, j))
        of_b[j].append((-score.confidence, i))
    for shelf in (*of_a.values(), *of_b.values()):
        shelf.sort()
    settled: dict[PinKey, float] = {}
    for i, j, a, b in chosen:
        settled[a.key] = settled[b.key] = edges[i, j].confidence
    out = []
    for i, j, a, b in chosen:
        rivals = _nearest(of_a[i], classes_b, b) + _nearest(of_b[j], classes_a, a)
        rivals.sort(key=lambda rival: (-rival[1], natural_key(rival[0].cavity), rival[0]))
        out.append(_proposal(a, b, edges[i, j], rivals, settled))
    return out


def _nearest(shelf: list[tuple[float, int]], classes: list[_Class], but: Features) -> list[tuple[PinKey, float]]:
    """The likeliest other pins on one side, a few."""
    pins = ((pin.key, -loss) for loss, k in shelf for pin in classes[k].pins if pin.key != but.key)
    return list(islice(pins, _RIVALS_LOOKED_AT))


def _proposal(
    a: Features, b: Features, score: Score, rivals: list[tuple[PinKey, float]], settled: dict[PinKey, float]
) -> Proposal:
    """A pair is as sure as its likeness, unless a rival that has no better partner comes near."""
    near = [
        (key, c)
        for key, c in rivals
        if c >= score.confidence - MARGIN and settled.get(key, 0.0) < c + MARGIN and c >= LEAST
    ]
    confidence, reasons = score.confidence, score.reasons
    if near:
        tied = near[0][1] >= confidence - _TIE
        confidence = min(confidence, _TIED if tied else _DOUBTFUL)
        fits = "as well" if tied else "nearly as well"
        more = f" and {len(near) - 1} more" if len(near) > 1 else ""
        key, likely = near[0]
        reasons = (*reasons, f"{key.connector}-{key.cavity}{more} would fit {fits} ({likely:.0%}): choose")
    named = min((a, b), key=_naming)
    return Proposal(
        a=a.key,
        b=b.key,
        function_code="" if named.found is None or named.found.rivals else named.found.code,
        function=named.name or named.pin.function,
        confidence=confidence,
        reasons=reasons,
        rivals=tuple(rivals[:_RIVALS_SHOWN]),
    )


def _naming(item: Features) -> tuple[object, ...]:
    """The side whose function is surer gives the name; then the one that sorts first."""
    found = item.found
    return (
        found is None,
        bool(found.rivals) if found else True,
        -(found.score if found else 0.0),
        item.name,
        item.looks,
    )
