"""What crossing looks at in a pin: its words, its function, its electrical kind, and which circuits a ground serves."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from pinmap.core.crossing.recognise import Recognition, recognise_all, unambiguous
from pinmap.core.crossing.wording import Marks, Reading, read
from pinmap.core.facts.functions import UNASSIGNED, Dictionary
from pinmap.core.model.pinouts import Pin, PinKey
from pinmap.core.model.words import Kind, natural_key

GROUNDS = frozenset({Kind.GROUND, Kind.SENSOR_GROUND})
# Functions of the dictionary that are one circuit under another name.
_ONE_CIRCUIT = {"TRL_PERM": "PERM", "TRL_IGN": "IGN", "GND_LAMPS": "GND"}


@dataclass(frozen=True, slots=True)
class Features:
    """One pin as crossing sees it. Two pins with equal ``looks`` are interchangeable.

    ``kind`` is the pin's own or, when it has none, that of its function (``kind_given`` tells which). ``serves`` are
    the functions whose current comes back through a ground; None when that is not known. ``blank`` pins carry nothing
    that anybody could name.
    """

    key: PinKey
    pin: Pin
    reading: Reading
    found: Recognition | None
    name: str
    group: str
    kind: Kind
    kind_given: bool
    marks: Marks
    serves: frozenset[str] | None
    serves_said: bool
    blank: bool
    nominal_v: float
    own_ground: bool | None = None  # whether a ground of the connector says it is for this pin; None if none says so

    @property
    def firm(self) -> bool:
        return unambiguous(self.found)

    @property
    def codes(self) -> tuple[str, ...]:
        """The code recognised, then its rivals."""
        return () if self.found is None else (self.found.code, *(code for code, _ in self.found.rivals))

    @property
    def ground(self) -> bool:
        return self.kind in GROUNDS or (self.kind == Kind.UNKNOWN and ("role", "ground") in self.marks)

    @property
    def looks(self) -> tuple[object, ...]:
        """Everything that the likeness of two pins depends on; names of platform, connector and cavity do not."""
        pin = self.pin
        serves = None if self.serves is None else tuple(sorted(self.serves))
        return (
            self.reading.exact,
            self.reading.text,
            "" if self.found is None else f"{self.found.code} {self.found.score} {self.found.rivals}",
            tuple(sorted(self.marks)),
            self.kind.value,
            self.kind_given,
            pin.direction.value,
            pin.current_a if pin.current_a is not None else -1.0,
            pin.component.casefold(),
            serves or (),
            serves is None,
            self.serves_said,
            self.blank,
            self.nominal_v,
            self.own_ground is None,
            bool(self.own_ground),
        )


def features(pins: Mapping[PinKey, Pin], dictionary: Dictionary, nominal_v: float) -> tuple[Features, ...]:
    """Features of one platform's pins, in their order."""
    found = recognise_all(tuple(pins.values()), dictionary)
    draft = [_draft(key, pin, hit, dictionary, nominal_v) for (key, pin), hit in zip(pins.items(), found, strict=True)]
    by_connector: dict[str, list[Features]] = defaultdict(list)
    for item in draft:
        by_connector[item.key.connector].append(item)
    return tuple(_among(item, by_connector[item.key.connector]) for item in draft)


def _among(item: Features, neighbours: list[Features]) -> Features:
    """The pin with what the other pins of its connector say about its ground, or about it as a ground."""
    if item.ground:
        serves, said = _serves(item, neighbours)
        return replace(item, serves=serves, serves_said=said)
    claimed = [n.reading.serves for n in neighbours if n.ground and n.reading.serves and _together(n.pin, item.pin)]
    if not claimed:
        return item
    own = any(len(cavities) <= 2 and item.key.cavity.casefold() in cavities for cavities in claimed)
    return replace(item, own_ground=own)


def _draft(key: PinKey, pin: Pin, found: Recognition | None, dictionary: Dictionary, nominal_v: float) -> Features:
    reading = read(pin.function)
    entry = dictionary.get(found.code) if found is not None else None
    blank = (entry is not None and entry.group == UNASSIGNED) or (
        entry is None and (reading.empty or not (reading.words or reading.marks))
    )
    given = pin.kind != Kind.UNKNOWN
    guessed = entry.kind if entry is not None and unambiguous(found) else Kind.UNKNOWN
    return Features(
        key=key,
        pin=pin,
        reading=reading,
        found=None if blank else found,
        name=entry.name if entry is not None else pin.function,
        group=entry.group if entry is not None else "",
        kind=pin.kind if given else guessed,
        kind_given=given,
        marks=found.marks if found is not None else reading.marks,
        serves=None,
        serves_said=False,
        blank=blank,
        nominal_v=nominal_v,
    )


def _serves(ground: Features, neighbours: Iterable[Features]) -> tuple[frozenset[str] | None, bool]:
    """The functions that a ground carries back, and whether its own words say so.

    "Ground for pins 1-8" is resolved through what pins 1 to 8 of the same connector do. A connector's only ground
    that says nothing serves what the others do not.
    """
    others = [n for n in neighbours if not n.ground and not n.blank and _together(n.pin, ground.pin)]
    if ground.reading.serves:
        cavities = {c.casefold() for c in ground.reading.serves}
        return frozenset(circuit(n) for n in others if n.key.cavity.casefold() in cavities), True
    silent = {n.key.cavity for n in neighbours if n.ground and not n.reading.serves and _together(n.pin, ground.pin)}
    if len(silent) != 1:
        return None, False
    taken = {c.casefold() for n in neighbours if n.ground for c in n.reading.serves}
    return frozenset(circuit(n) for n in others if n.key.cavity.casefold() not in taken), False


def _together(a: Pin, b: Pin) -> bool:
    """Whether two entries can exist in the same edition."""
    return not a.editions or not b.editions or bool(set(a.editions) & set(b.editions))


def circuit(item: Features) -> str:
    """What a ground can serve: the pin's function and number, or its words."""
    if item.found is not None:
        return f"{one_circuit(item.found.code)} {' '.join(item.reading.numbers)}".strip()
    return f"words {item.reading.text} {' '.join(item.reading.numbers)}".strip()


def one_circuit(code: str) -> str:
    """The code under which all names of one circuit meet."""
    return _ONE_CIRCUIT.get(code, code)


def place_order(item: Features) -> tuple[object, ...]:
    """Order among pins that look alike: by cavity first, so that a connector's new name changes nothing."""
    return (natural_key(item.key.cavity), item.key.edition, natural_key(item.key.connector), item.key.platform)
