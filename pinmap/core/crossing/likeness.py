"""How surely two pins belong to one signal, and why. Symmetric: the order of the two changes nothing."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from rapidfuzz import fuzz

from pinmap.core.crossing.features import Features, circuit, one_circuit
from pinmap.core.crossing.wording import conflicts, one_sided
from pinmap.core.facts.kinds import meets
from pinmap.core.model.words import Direction, Kind

HIGH, FAIR, LEAST = 0.8, 0.5, 0.3
_SAME_FUNCTION = 0.97
_SAME_WORDS = 0.93
_SHORT_WORDS = 0.75  # the same one or two letters on both sides say little
_LIKE_WORDS = 0.78  # times the likeness of the words; never high
_NEARLY_SAME = 0.93  # likeness from which two names count as the same
_COULD_BE = 0.58  # the words of one could mean the other's function
_ONE_NAME = 0.86  # one circuit that the dictionary has under two names
_SAME_KIND = 0.5  # different names of the same kind of supply or ground
# The most that a pair can have when only one of the two is marked in a group, and how the group is called.
_CAPS = {
    "side": 0.6,
    "heater": 0.6,
    "level": 0.7,
    "pole": 0.7,
    "flow": 0.7,
    "number": 0.72,
    "track": 0.72,
    "role": 0.74,
    "axle": 0.78,
}
_SECOND_CAP = 0.56  # a second or later one is less likely to be meant by a name without a number than the first
_GROUP_WORDS = {
    "flow": "side of the flow (intake, exhaust)",
    "level": "level (high, low)",
    "track": "letter",
    "role": "part (signal, supply, ground)",
    "axle": "end (front, rear)",
}
_VOLTS_CAP = 0.35
_NEEDS_PART_CAP = 0.45
_CLASH_CAP = 0.3
_BOTH_GIVE_CAP = 0.55
_BOTH_NEED_CAP = 0.6
_NOMINAL_CAP = 0.6
_BUS_KINDS = frozenset({Kind.CAN_H, Kind.CAN_L, Kind.J1708_PLUS, Kind.J1708_MINUS})
_SUPPLIES = frozenset({Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75, Kind.SUPPLY_50, Kind.SUPPLY_87, Kind.GROUND})
_GENERAL_FORM = 0.6  # a function and one of its sides or numbers: tail, left tail
_OWN_GROUND_LOSS = 0.15


@dataclass(frozen=True, slots=True)
class Score:
    """Confidence from 0 to 1 and its reasons in words."""

    confidence: float
    reasons: tuple[str, ...]


class Context:
    """Both sides as a whole: how rare each word is, and which circuits both of them have."""

    def __init__(self, side_a: Iterable[Features], side_b: Iterable[Features]) -> None:
        side_a, side_b = tuple(side_a), tuple(side_b)
        self.shared = _circuits(side_a) & _circuits(side_b)
        items = (*side_a, *side_b)
        uses: Counter[str] = Counter()
        texts = {item.reading.words for item in items}
        for words in texts:
            uses.update(words)
        total = max(len(texts), 1)
        self.weight = {word: math.log(1.0 + total / n) for word, n in uses.items()}

    def likeness(self, a: Features, b: Features) -> float:
        """Shared words' weight over all words' weight, 0 to 1; misspelt words count by their likeness."""
        wa, wb = set(a.reading.words), set(b.reading.words)
        if not wa or not wb:
            return 0.0
        shared = math.fsum(2.0 * self.weight[w] for w in sorted(wa & wb))
        shared += math.fsum(sorted(self._misspelt(wa - wb, wb - wa)))
        return min(1.0, shared / math.fsum(self.weight[w] for w in sorted([*wa, *wb])))

    def _misspelt(self, left: set[str], right: set[str]) -> list[float]:
        pairs: list[tuple[float, str, str]] = []
        for word in left:
            for other in right:
                if len(word) >= 5 and len(other) >= 5 and abs(len(word) - len(other)) <= 3:
                    x, y = sorted((word, other))
                    pairs.append((fuzz.ratio(x, y) / 100.0, x, y))
        out: list[float] = []
        used: set[str] = set()
        for ratio, x, y in sorted(pairs, key=lambda p: (-p[0], p[1], p[2])):
            if ratio >= 0.84 and x not in used and y not in used:
                used.update((x, y))
                out.append(ratio * (self.weight[x] + self.weight[y]))
        return out


def _circuits(side: Iterable[Features]) -> frozenset[str]:
    return frozenset(circuit(item) for item in side if not item.ground and not item.blank)


def likeness(a: Features, b: Features, context: Context) -> Score | None:
    """The confidence that a and b are one signal, before rivals are looked at; None when they cannot be, or when
    nothing speaks for it."""
    if a.blank or b.blank or _contradict(a, b):
        return None
    base, reasons = _base(a, b, context)
    if base < LEAST:
        return None
    caps: list[tuple[float, str]] = []
    _cap_marks(a, b, caps)
    if not _cap_kinds(a, b, caps):
        return None
    _cap_directions(a, b, caps)
    _cap_volts(a, b, caps)
    confidence = base + _small_change(a, b, reasons)
    for cap, reason in caps:
        confidence = min(confidence, cap)
        reasons.append(reason)
    confidence = round(min(max(confidence, 0.0), 0.99), 3)
    return Score(confidence, tuple(reasons)) if confidence >= LEAST else None


def _contradict(a: Features, b: Features) -> bool:
    """Left against right, 1 against 2, plus against minus, high against low: never one signal."""
    return any(group != "volts" for group in conflicts(a.marks, b.marks))


def _base(a: Features, b: Features, context: Context) -> tuple[float, list[str]]:
    if a.ground and b.ground and (a.serves_said or b.serves_said):
        return _ground_base(a, b, context)
    return _plain_base(a, b, context)


def _plain_base(a: Features, b: Features, context: Context) -> tuple[float, list[str]]:
    options: list[tuple[float, str]] = []
    if a.found is not None and b.found is not None:
        if a.found.code == b.found.code and not a.found.rivals and not b.found.rivals:
            score = min(a.found.score, b.found.score)
            if score >= 0.95:
                return score * _SAME_FUNCTION, [f"both are read as {a.name}"]
            options.append((score * _SAME_FUNCTION, f"both are read as {a.name}"))
        elif set(a.codes) & set(b.codes):
            options.append((_COULD_BE, f"both could be {_common_name(a, b)}, and something else as well"))
        elif not a.found.rivals and not b.found.rivals and (related := _related(a, b)) is not None:
            options.append(related)
    alike = context.likeness(a, b)
    same = a.reading.words == b.reading.words and a.reading.exact != ""
    different = a.firm and b.firm and a.found is not None and b.found is not None and a.found.code != b.found.code
    if not different:
        if same or (alike >= _NEARLY_SAME and min(len(a.reading.words), len(b.reading.words)) > 1):
            short = len("".join(a.reading.words)) <= 2 or len("".join(b.reading.words)) <= 2
            options.append((_SHORT_WORDS if short else _SAME_WORDS, "the words are the same"))
        elif alike >= FAIR:
            options.append((_LIKE_WORDS * alike, f"the words are alike ({alike:.0%})"))
    elif alike >= 0.7 and a.kind == b.kind:
        names = " and ".join(sorted((a.name, b.name)))
        options.append((0.45 * alike, f"the words are alike ({alike:.0%}), but they are read as {names}"))
    if not options:
        return 0.0, []
    best = max(options, key=lambda option: (option[0], option[1]))
    return best[0], [best[1]]


def _related(a: Features, b: Features) -> tuple[float, str] | None:
    """Two functions that are not the same and may still be one circuit."""
    first, second = sorted((a, b), key=lambda item: item.codes[0])
    codes = {first.codes[0], second.codes[0]}
    names = f"{first.name} and {second.name}"
    if len({one_circuit(code) for code in codes}) == 1:
        return _ONE_NAME, f"one circuit under two names: {names}"
    stem, rest = first.codes[0], second.codes[0].removeprefix(first.codes[0])
    if rest != second.codes[0] and (rest in ("_L", "_R") or rest.lstrip("_").isdecimal()) and a.kind == b.kind:
        return _GENERAL_FORM, f"{second.name} is one of several that {first.name} ({stem}) could be"
    if a.kind == b.kind and a.kind in _SUPPLIES:
        return _SAME_KIND, f"both are {a.kind}, but under different names: {names}"
    return None


def _common_name(a: Features, b: Features) -> str:
    common = sorted(set(a.codes) & set(b.codes))
    for item in (a, b):
        if item.found is not None and item.found.code in common:
            return item.name
    return common[0]


def _ground_base(a: Features, b: Features, context: Context) -> tuple[float, list[str]]:
    """Grounds that say which circuits they serve belong together when these are the same, and only then."""
    if a.kind != b.kind and Kind.UNKNOWN not in (a.kind, b.kind):
        return _plain_base(a, b, context)
    if a.serves is None or b.serves is None:
        return 0.55, ["both are grounds, but only one says which circuits it serves"]
    of_a, of_b = a.serves & context.shared, b.serves & context.shared
    if not of_a and not of_b:
        return 0.5, ["both are grounds, but neither serves a circuit that the other side has"]
    overlap = len(of_a & of_b) / len(of_a | of_b)
    if overlap == 0.0:
        return 0.0, []
    share = f"{len(of_a & of_b)} of {len(of_a | of_b)} circuits served are the same"
    if overlap >= 0.6:
        said = a.serves_said and b.serves_said
        return (0.9 if said else 0.87) + 0.07 * overlap, [f"both are grounds, and {share}"]
    return 0.35 + 0.3 * overlap, [f"both are grounds, but only {share}"]


def _cap_marks(a: Features, b: Features, caps: list[tuple[float, str]]) -> None:
    for group in one_sided(a.marks, b.marks):
        if group == "role" and a.found is not None and b.found is not None and a.found.code == b.found.code:
            continue  # a plain name and the same name with "signal" behind it
        if group in _CAPS:
            second = group == "number" and ("number", "1") not in a.marks | b.marks
            caps.append(
                (
                    _SECOND_CAP if second else _CAPS[group],
                    f"only one of the two names a {_GROUP_WORDS.get(group, group)}",
                )
            )


def _cap_kinds(a: Features, b: Features, caps: list[tuple[float, str]]) -> bool:
    """False when two kinds, at least one of them guessed from the words, cannot meet at all."""
    if Kind.UNKNOWN in (a.kind, b.kind):
        return True
    meeting = meets(a.kind, b.kind)
    if meeting.ok:
        return True
    if meeting.isolator_ok:
        caps.append((_NEEDS_PART_CAP, f"no plain wire will do: {meeting.why}"))
        return True
    caps.append((_CLASH_CAP, f"the electrical kinds contradict each other: {meeting.why}"))
    same_code = a.found is not None and b.found is not None and a.found.code == b.found.code
    return same_code and a.kind_given and b.kind_given


def _cap_directions(a: Features, b: Features, caps: list[tuple[float, str]]) -> None:
    if a.pin.direction != b.pin.direction or a.pin.direction in (Direction.BOTH, Direction.PASSIVE):
        return
    if a.pin.direction == Direction.IN:
        caps.append((_BOTH_NEED_CAP, "both need it and neither gives it"))
    elif not a.ground:
        caps.append((_BOTH_GIVE_CAP, "both give it: two sources would be joined"))


def _cap_volts(a: Features, b: Features, caps: list[tuple[float, str]]) -> None:
    if "volts" in conflicts(a.marks, b.marks):
        caps.append((_VOLTS_CAP, "the voltages named are not the same"))
    if a.nominal_v != b.nominal_v and not a.ground and not {a.kind, b.kind} & _BUS_KINDS:
        low, high = sorted((a.nominal_v, b.nominal_v))
        caps.append((_NOMINAL_CAP, f"one side is a {low:g} V system, the other {high:g} V"))


def _small_change(a: Features, b: Features, reasons: list[str]) -> float:
    """What directions, currents and component names add or take away."""
    change = 0.0
    if {a.pin.direction, b.pin.direction} == {Direction.IN, Direction.OUT}:
        change += 0.02
        reasons.append("one gives what the other needs")
    if a.kind_given and b.kind_given and a.kind == b.kind:
        change += 0.01
        reasons.append(f"both are of kind {a.kind}")
    if a.pin.current_a and b.pin.current_a:
        low, high = sorted((a.pin.current_a, b.pin.current_a))
        if high > 3.0 * low:
            change -= 0.15 if high > 10.0 * low else 0.05
            reasons.append(f"the currents differ: {low:g} A and {high:g} A")
    if None not in (a.own_ground, b.own_ground) and a.own_ground != b.own_ground:
        change -= _OWN_GROUND_LOSS
        reasons.append("only one of the two has a ground of its own beside it")
    if a.pin.component and b.pin.component:
        x, y = sorted((a.pin.component.casefold(), b.pin.component.casefold()))
        if fuzz.token_sort_ratio(x, y) >= 85:
            change += 0.02
            reasons.append("they belong to components of like names")
    return change
