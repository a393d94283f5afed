"""Two states of a loom side by side: what is only in one of them, and what differs, field by field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from pinmap.core.model.words import natural_key


@dataclass(frozen=True, slots=True)
class Thing:
    """One thing of a loom as a builder reads it: its name, and its fields in words, in the order to read them."""

    name: str
    fields: tuple[tuple[str, str], ...] = ()


Described = Mapping[str, Mapping[str, Thing]]  # subject -> key -> thing


class Turn(StrEnum):
    """What became of a thing from the older state to the newer."""

    ADDED = "added"
    REMOVED = "removed"
    CHANGED = "changed"


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One field that differs; "" where a side does not have it."""

    field: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that is not alike in both states; None stands for the state that does not have it."""

    key: str
    old: Thing | None
    new: Thing | None

    @property
    def turn(self) -> Turn:
        if self.old is None:
            return Turn.ADDED
        return Turn.REMOVED if self.new is None else Turn.CHANGED

    @property
    def name(self) -> str:
        """As the newer state calls it, if it has it."""
        thing = self.new or self.old
        return thing.name if thing is not None else self.key

    @property
    def changes(self) -> tuple[FieldChange, ...]:
        """The fields that differ: of a thing in one state only, all that say something."""
        old = dict(self.old.fields) if self.old is not None else {}
        new = dict(self.new.fields) if self.new is not None else {}
        found = tuple(
            FieldChange(name, old.get(name, ""), new.get(name, ""))
            for name in dict.fromkeys((*new, *old))
            if old.get(name, "") != new.get(name, "")
        )
        if self.old is not None and self.new is not None and self.old.name != self.new.name:
            return (FieldChange("name", self.old.name, self.new.name), *found)
        return found

    @property
    def mirrored(self) -> Difference:
        """The same difference read from the newer state to the older."""
        return Difference(self.key, self.new, self.old)


@dataclass(frozen=True, slots=True)
class Section:
    """The differences of one subject, in natural order of their keys."""

    subject: str
    differences: tuple[Difference, ...]

    def count(self, turn: Turn) -> int:
        return sum(d.turn is turn for d in self.differences)


def compare(old: Described, new: Described) -> tuple[Section, ...]:
    """What differs, subject by subject in the order of the newer state; subjects without a difference are left out."""
    found = []
    for subject in dict.fromkeys((*new, *old)):
        before, after = old.get(subject, {}), new.get(subject, {})
        differences = tuple(
            Difference(key, before.get(key), after.get(key))
            for key in sorted(before.keys() | after.keys(), key=natural_key)
            if before.get(key) != after.get(key)
        )
        if differences:
            found.append(Section(subject, differences))
    return tuple(found)
