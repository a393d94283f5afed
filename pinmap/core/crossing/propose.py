"""Proposes which pin of one side meets which of the other.

Candidates are found by function and by rare words, scored, and assigned so that the sum of confidences is greatest.
Pins that look alike in everything are one class, so that neither their number nor their names matter to the outcome.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import networkx as nx
import numpy as np
from scipy.optimize import linear_sum_assignment

from pinmap.core.crossing.features import Features, features, place_order
from pinmap.core.crossing.likeness import FAIR, HIGH, LEAST, Score, WordWeights, likeness
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.pinouts import Pin, PinKey, Platform
from pinmap.core.model.words import Kind

_MARGIN = 0.12  # a rival nearer than this makes a pair doubtful
_TIE = 0.03
_DOUBTFUL, _TIED = 0.7, 0.6  # the most that a doubtful, and a tied, pair can have
_RARE_WORDS = 4
_POSTINGS_MAX = 60
_GENERAL_MAX = 40_000
_RIVALS_SHOWN = 6
_PLACE_WEIGHT = 1e-7  # far below the last digit of a confidence; decides only between pins that look alike


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

    looks: tuple[object, ...]
    pins: tuple[Features, ...]

    @property
    def first(self) -> Features:
        return self.pins[0]


def cross_features(side_a: Sequence[Features], side_b: Sequence[Features]) -> Crossing:
    """As ``cross``, from the pins' features."""
    weights = WordWeights([*side_a, *side_b])
    classes_a, classes_b = _classes(side_a), _classes(side_b)
    edges: dict[tuple[int, int], Score] = {}
    for i, j in _candidates(classes_a, classes_b):
        score = likeness(classes_a[i].first, classes_b[j].first, weights)
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

    return [_Class(looks, tuple(sorted(groups[looks], key=order))) for looks in sorted(groups, key=repr)]


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


def _shelve(classes: list[_Class], keys: object) -> dict[str, dict[tuple[str, ...], list[int]]]:
    assert callable(keys)
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


def _pairs(classes_a: list[_Class], classes_b: list[_Class], edges: dict[tuple[int, int], Score]) -> list[Proposal]:
    graph: nx.Graph[tuple[str, int]] = nx.Graph()
    for i, j in edges:
        graph.add_edge(("a", i), ("b", j))
    chosen: list[tuple[int, int, Features, Features]] = []
    for component in nx.connected_components(graph):
        rows = sorted(i for side, i in component if side == "a")
        columns = sorted(j for side, j in component if side == "b")
        chosen += _assign(rows, columns, classes_a, classes_b, edges)
    return _with_rivals(chosen, classes_a, classes_b, edges)


def _assign(
    rows: list[int],
    columns: list[int],
    classes_a: list[_Class],
    classes_b: list[_Class],
    edges: dict[tuple[int, int], Score],
) -> list[tuple[int, int, Features, Features]]:
    """The assignment of greatest total confidence within one component.

    Each class stands for as many pins as it has, but never for more than its partners have. The side whose looks sort
    first gives the rows, so that exchanging sides cannot change which of several equal assignments is found.
    """
    if len(rows) == len(columns) == 1:
        i, j = rows[0], columns[0]
        return [(i, j, a, b) for a, b in zip(classes_a[i].pins, classes_b[j].pins, strict=False)]
    places_a = _places(
        rows, classes_a, {i: sum(len(classes_b[j].pins) for j in columns if (i, j) in edges) for i in rows}
    )
    places_b = _places(
        columns, classes_b, {j: sum(len(classes_a[i].pins) for i in rows if (i, j) in edges) for j in columns}
    )
    gain = np.zeros((len(places_a), len(places_b)))
    for x, (i, rank_a) in enumerate(places_a):
        for y, (j, rank_b) in enumerate(places_b):
            score = edges.get((i, j))
            if score is not None:
                gain[x, y] = score.confidence - _PLACE_WEIGHT * min((rank_a - rank_b) ** 2, 100)
    looks_a, looks_b = [classes_a[i].looks for i in rows], [classes_b[j].looks for j in columns]
    if repr(looks_b) < repr(looks_a):
        ys, xs = linear_sum_assignment(gain.T, maximize=True)
    else:
        xs, ys = linear_sum_assignment(gain, maximize=True)
    out = []
    for x, y in zip(xs.tolist(), ys.tolist(), strict=True):
        (i, rank_a), (j, rank_b) = places_a[x], places_b[y]
        if gain[x, y] >= LEAST - 1e-4:
            out.append((i, j, classes_a[i].pins[rank_a], classes_b[j].pins[rank_b]))
    return out


def _places(indices: list[int], classes: list[_Class], partners: dict[int, int]) -> list[tuple[int, int]]:
    return [(i, rank) for i in indices for rank in range(min(len(classes[i].pins), partners[i]))]


def _with_rivals(
    chosen: list[tuple[int, int, Features, Features]],
    classes_a: list[_Class],
    classes_b: list[_Class],
    edges: dict[tuple[int, int], Score],
) -> list[Proposal]:
    of_a: dict[int, list[tuple[int, float]]] = defaultdict(list)
    of_b: dict[int, list[tuple[int, float]]] = defaultdict(list)
    for (i, j), score in edges.items():
        of_a[i].append((j, score.confidence))
        of_b[j].append((i, score.confidence))
    settled: dict[PinKey, float] = {}
    for i, j, a, b in chosen:
        settled[a.key] = settled[b.key] = edges[i, j].confidence
    out = []
    for i, j, a, b in chosen:
        score = edges[i, j]
        rivals = [
            (pin.key, c) for k, c in of_a[i] for pin in classes_b[k].pins[: _RIVALS_SHOWN + 1] if pin.key != b.key
        ]
        rivals += [
            (pin.key, c) for k, c in of_b[j] for pin in classes_a[k].pins[: _RIVALS_SHOWN + 1] if pin.key != a.key
        ]
        rivals.sort(key=lambda rival: (-rival[1], rival[0]))
        out.append(_proposal(a, b, score, rivals, settled))
    return out


def _proposal(
    a: Features, b: Features, score: Score, rivals: list[tuple[PinKey, float]], settled: dict[PinKey, float]
) -> Proposal:
    """A pair is as sure as its likeness, unless a rival that has no better partner comes near."""
    near = [
        (key, c)
        for key, c in rivals
        if c >= score.confidence - _MARGIN and settled.get(key, 0.0) < c + _MARGIN and c >= LEAST
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


def mirrored(crossing: Crossing) -> Crossing:
    """The same with the sides exchanged; pairs keep their order."""
    return Crossing(tuple(replace(p, a=p.b, b=p.a) for p in crossing.pairs), crossing.left_b, crossing.left_a)
