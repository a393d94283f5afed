"""Which points are one, which relays are closed, and what current can reach, in one load case."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from pinmap.core.electrics.components import Bools, Ints, Reference, Source, holds
from pinmap.core.electrics.load_table import Draws
from pinmap.core.electrics.skeleton import Skeleton, held_in, labels
from pinmap.core.model.jobs import LoadCase

if TYPE_CHECKING:
    from pinmap.core.electrics.newton import Pattern


@dataclass(frozen=True)
class Frame:
    """What cases have in common in which the same points are joined and live. ``node`` by kept point of the skeleton;
    ``a`` and ``b`` are nodes by branch; the others by node. ``held`` nodes have a given voltage: the supply's where
    ``plus``, else 0."""

    skeleton: Skeleton
    node: Ints
    count: int
    a: Ints
    b: Ints
    plus: Bools
    minus: Bools
    held: Bools

    @cached_property
    def walker(self) -> Walker:
        return Walker(self)


@dataclass(frozen=True)
class Reach:
    """What current can reach with the relays settled: ``active`` by branch, the others by node. ``closed`` relays are
    named by their place in the skeleton's ``relays``."""

    frame: Frame
    active: Bools
    closed: Bools
    has_plus: Bools
    has_minus: Bools
    has_reference: Bools
    references: tuple[Reference, ...]
    patterns: dict[tuple[object, ...], Pattern] = field(default_factory=dict)  # of matrices, remembered by ``newton``


@dataclass(frozen=True)
class Layout:
    """One load case: the places of its loads among the network's, ``fed`` or ``starved``, and its sources."""

    reach: Reach
    draws: Draws
    fed: Ints
    starved: Ints
    sources: tuple[Source, ...]

    @property
    def frame(self) -> Frame:
        return self.reach.frame


class Frames:
    """Frames and reaches of a network, each computed once however many cases share it."""

    def __init__(self, skeleton: Skeleton) -> None:
        self.skeleton = skeleton
        self._frames: dict[tuple[object, ...], Frame] = {}
        self._reaches: dict[tuple[int, frozenset[int]], Reach] = {}

    def lay_out(self, case: LoadCase, *, barred: Collection[int] = (), shed: Collection[int] = ()) -> Layout:
        """``barred`` relays stay open whatever their coil, by place in the skeleton's; ``shed`` loads are left out, by
        place in the network's."""
        frame = self._frame(case.code)
        key = (id(frame), frozenset(barred))
        reach = self._reaches.get(key)
        if reach is None:
            reach = self._reaches[key] = settle(frame, barred)
        skeleton, draws = self.skeleton, self.skeleton.draws(case.code)
        on = draws.on.copy()
        on[list(shed)] = False
        # A load whose end is not there has the place -1, which reads the last point: hence the first conditions.
        live = (skeleton.feed >= 0) & (skeleton.back >= 0)
        if live.any():
            feed, back = frame.node[skeleton.feed], frame.node[skeleton.back]
            live &= (reach.has_plus[feed] | reach.has_reference[feed]) & reach.has_minus[back]
        sources = (
            s for s in skeleton.network.sources
            if holds(s.when, case.code) and skeleton.place[s.plus] >= 0
            and reach.has_plus[frame.node[skeleton.place[s.plus]]]
        )  # fmt: skip
        return Layout(reach, draws, np.flatnonzero(on & live), np.flatnonzero(on & ~live), tuple(sources))

    def _frame(self, code: str) -> Frame:
        skeleton = self.skeleton
        network = skeleton.network
        plus, minus = held_in(skeleton.plus, code), held_in(skeleton.minus, code)
        posted = network.post >= 0 and not holds(network.held, code)
        joined = tuple(when for when, _, _ in skeleton.joins if holds(when, code))
        key = (joined, plus.tobytes(), minus.tobytes(), posted)
        found = self._frames.get(key)
        if found is None:
            found = self._frames[key] = _frame(skeleton, code, plus, minus, posted)
        return found


def _frame(skeleton: Skeleton, code: str, plus_points: Ints, minus_points: Ints, posted: bool) -> Frame:
    joins = [(x, y) for when, x, y in skeleton.joins if holds(when, code)]
    none = np.empty(0, dtype=np.int64)
    node = labels(skeleton.kept.size, *(np.concatenate([none, *(j[i] for j in joins)]) for i in (0, 1)))
    count = int(node.max()) + 1 if node.size else 0
    plus, minus = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    plus[node[plus_points]] = True
    minus[node[minus_points]] = True
    plus &= ~minus
    return Frame(
        skeleton=skeleton, node=node, count=count, a=node[skeleton.a], b=node[skeleton.b], plus=plus, minus=minus,
        held=minus if posted else plus | minus,
    )  # fmt: skip


class Walker:
    """What a supply and battery minus reach other than through relay coils, diodes only forwards."""

    def __init__(self, frame: Frame) -> None:
        skeleton = frame.skeleton
        a, b, count = frame.a, frame.b, frame.count
        self.a, self.b, self.count, self.plus, self.minus = a, b, count, frame.plus, frame.minus
        self.fixed = frame.plus | frame.minus
        self.conducts = np.ones(a.size, dtype=bool)
        self.conducts[skeleton.coils] = False
        self.conducts[skeleton.diodes] = False
        self.diodes = skeleton.diodes
        # Current does not pass through a source to the far side of it, so sources split the graph.
        self.inner = self.conducts & ~self.fixed[a] & ~self.fixed[b]
        self.relay_branches = skeleton.relay_parts[:, 1:].ravel()
        always = self.inner.copy()
        always[self.relay_branches] = False
        self.fused = labels(count, a[always], b[always])  # parts that no relay contact changes
        self.parts = int(self.fused.max()) + 1 if count else 0
        self.edge_ids = {
            side: [np.flatnonzero(self.conducts & source[near]) for near in (a, b)]
            for side, source in (("plus", frame.plus), ("minus", frame.minus))
        }

    def _labels(self, active: Bools) -> Ints:
        contacts = self.relay_branches[active[self.relay_branches] & self.inner[self.relay_branches]]
        if not contacts.size:
            return self.fused
        return labels(self.parts, self.fused[self.a[contacts]], self.fused[self.b[contacts]])[self.fused]

    def reach(self, active: Bools) -> tuple[Bools, Bools]:
        """By node: is it joined to a live supply, and to battery minus?"""
        label = self._labels(active)
        out = []
        for side, source, into, back in (
            ("plus", self.plus, self.a, self.b),
            ("minus", self.minus, self.b, self.a),
        ):
            touched = np.zeros(self.count, dtype=bool)
            for ids, far in zip(self.edge_ids[side], (self.b, self.a), strict=True):
                touched[label[far[ids[active[ids]]]]] = True
            for _ in range(self.diodes.size):
                ahead = (touched[label[into[self.diodes]]] | source[into[self.diodes]]) & active[self.diodes]
                new = label[back[self.diodes[ahead]]]
                new = new[~self.fixed[back[self.diodes[ahead]]]]
                if touched[new].all():
                    break
                touched[new] = True
            reach = touched[label]
            reach[self.fixed] = False
            out.append(reach | source)
        return out[0], out[1]

    def spread(self, active: Bools, roots: Ints) -> Bools:
        """By node: is it joined to one of these?"""
        if not roots.size:
            return np.zeros(self.count, dtype=bool)
        label = self._labels(active)
        touched = np.zeros(self.count, dtype=bool)
        touched[label[roots]] = True
        return np.asarray(touched[label] & ~self.fixed)


def settle(frame: Frame, barred: Collection[int] = ()) -> Reach:
    """Closes the relays whose coil lies between a live supply and battery minus, and sees what current then reaches."""
    skeleton, walker = frame.skeleton, frame.walker
    active = np.ones(frame.a.size, dtype=bool)
    coil, opens, closes = skeleton.relay_parts.T
    a, b = frame.a[coil], frame.b[coil]
    free = np.ones(coil.size, dtype=bool)
    free[list(barred)] = False
    closed = np.zeros(coil.size, dtype=bool)
    while True:
        active[opens], active[closes] = closed, ~closed
        has_plus, has_minus = walker.reach(active)
        more = free & ((has_plus[a] & has_minus[b]) | (has_minus[a] & has_plus[b])) & ~closed
        if not more.any():
            break
        closed |= more
    place = skeleton.place
    references = tuple(
        r for r in skeleton.network.references
        if place[r.supply] >= 0 and has_plus[frame.node[place[r.supply]]] and has_minus[frame.node[place[r.ground]]]
    )  # fmt: skip
    feeding = np.array([frame.node[place[r.out]] for r in references if r.feeds], dtype=np.int64)
    return Reach(
        frame=frame, active=active, closed=closed, has_plus=has_plus, has_minus=has_minus,
        has_reference=walker.spread(active, feeding), references=references,
    )  # fmt: skip
