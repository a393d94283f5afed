"""The network after an edit, out of the network before it, where only resistances of wires differ."""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

from pinmap.core.electrics.network import Network, wire_ohm_20
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Routing, Wire
from pinmap.core.model.jobs import Member, Signal, Snapshot, Variant


class Before(Protocol):
    """What a network was built from."""

    @property
    def snapshot(self) -> Snapshot: ...
    @property
    def variant(self) -> Variant: ...
    @property
    def routing(self) -> Routing: ...
    @property
    def dictionary(self) -> Dictionary: ...
    @property
    def network(self) -> Network: ...


def edited(old: Routing, new: Routing) -> tuple[int, ...] | None:
    """Which wires are not as they were, by index; None where the wires are others or in another order."""
    if len(old.wires) != len(new.wires):
        return None
    pairs = list(zip(old.wires, new.wires, strict=True))
    found = tuple(i for i, (v, w) in enumerate(pairs) if v is not w and v != w)
    return found if all(pairs[i][0].id == pairs[i][1].id for i in found) else None


def renewed(
    before: Before,
    changed: tuple[int, ...],
    snapshot: Snapshot,
    variant: Variant,
    routing: Routing,
    dictionary: Dictionary,
) -> Network | None:
    """What ``build_network`` would give, with points and layouts taken over from ``before``; None where something else
    than sizes, insulations and lengths of wires may have changed, so that the network must be built anew. ``changed``
    are the wires that differ (see ``edited``)."""
    old, new = before.routing.wires, routing.wires
    if not _same_but_wires(before, snapshot, variant, dictionary):
        return None
    if not all(_same_ends(old[i], new[i]) for i in changed):
        return None
    ohm = before.network.wire_ohm_20.copy()
    for i in changed:
        ohm[i] = wire_ohm_20(new[i])
    return before.network.with_wires(ohm)


def _same_ends(old: Wire, new: Wire) -> bool:
    """Between the same points, by the same names; a splice may have moved along the loom."""
    return all(v.label == w.label and v.point == w.point for v, w in ((old.a, new.a), (old.b, new.b)))


def _same_but_wires(before: Before, snapshot: Snapshot, variant: Variant, dictionary: Dictionary) -> bool:
    """Is all that a network is built from the same? A wire's size, insulation and place come in by the routing."""
    old, new = before.snapshot, snapshot
    return (
        before.variant == variant
        and (before.dictionary is dictionary or before.dictionary.entries == dictionary.entries)
        and old.platforms == new.platforms
        and old.housings == new.housings
        and old.job.seats == new.job.seats
        and old.job.devices == new.job.devices
        and old.job.fates == new.job.fates
        and old.job.nodes == new.job.nodes
        and old.job.practice == new.job.practice
        and len(old.job.signals) == len(new.job.signals)
        and all(map(_same_but_wire, old.job.signals, new.job.signals))
    )


def _same_but_wire(old: Signal, new: Signal) -> bool:
    if old is new or old == new:
        return True
    return _bare(old) == _bare(new)


def _bare(signal: Signal) -> Signal:
    """A signal without what only its wires show, and without what is not electrical."""
    members = tuple(Member(end=m.end, section=m.section) for m in signal.members)
    return replace(signal, members=members, mm2=None, colour="", insulation="", twist="", screen="", note="", via=())
