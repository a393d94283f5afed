"""Two revisions of a job, or a revision and the draft, side by side; and what to do to a loom built to the older."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pinmap.core.build.comparison import Section, compare
from pinmap.core.build.described import describe, wire_way
from pinmap.core.build.rework import Deed, State, Task, counts, rework
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.services import analysis, jobs, revisions
from pinmap.services.shop import Shop

DRAFT = ""  # stands for the draft where a revision's letter is asked for


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two states."""

    letter: str
    snapshot: Snapshot
    dictionary: Dictionary

    @property
    def title(self) -> str:
        return f"revision {self.letter}" if self.letter else "the draft of now"


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two states of a job in one variant. ``variants`` are those that both have; where they share none, each is shown
    in its first, and ``apart`` is true."""

    old: Side
    new: Side
    old_variant: Variant
    new_variant: Variant
    variants: tuple[Variant, ...]
    sections: tuple[Section, ...]
    tasks: tuple[Task, ...]

    @property
    def apart(self) -> bool:
        return self.old_variant.key != self.new_variant.key

    @property
    def counts(self) -> Mapping[Deed, int]:
        return counts(self.tasks)

    @property
    def alike(self) -> bool:
        """Not a single value differs, in any variant."""
        return self.old.snapshot.content_hash == self.new.snapshot.content_hash


def compared(shop: Shop, key: str, old: str, new: str = DRAFT, variant: str = "") -> Comparison:
    """Compares two revisions by letter, ``DRAFT`` for the draft, in one variant, "" for the first that both have.
    Raises NotFound."""
    before, after = _side(shop, key, old), _side(shop, key, new)
    of_old = {v.key: v for v in before.snapshot.variants}
    shared = tuple(v for v in after.snapshot.variants if v.key in of_old)
    if shared:
        new_variant = next((v for v in shared if v.key == variant), shared[0])
        old_variant = of_old[new_variant.key]
    else:
        old_variant, new_variant = before.snapshot.variant(""), after.snapshot.variant("")
    units = after.snapshot.job.practice.units
    was, becomes = _state(before, old_variant, units), _state(after, new_variant, units)
    sections = compare(was.described, becomes.described)
    tasks = rework(was, becomes, units)
    return Comparison(before, after, old_variant, new_variant, shared, sections, tasks)


def _side(shop: Shop, key: str, letter: str) -> Side:
    if letter == DRAFT:
        view = jobs.get(shop, key)
        return Side(DRAFT, view.snapshot, view.dictionary)
    revision = revisions.get(shop, key, letter)
    return Side(letter, revision.snapshot, revision.dictionary)


def _state(side: Side, variant: Variant, units: str) -> State:
    done = analysis.analyse(side.snapshot, variant, side.dictionary)
    found = analysis.findings(side.snapshot, [variant], side.dictionary)
    return State(
        done.build_rows,
        {w.id: wire_way(side.snapshot, done.routing, w.id) for w in done.routing.wires},
        describe(side.snapshot, variant, done.routing, done.build_rows, found, units),
    )
