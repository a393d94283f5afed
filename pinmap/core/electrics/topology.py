"""Which points are one, which relays are closed, and what current can reach, in one load case."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from pinmap.core.electrics.components import Bools, Ints, Network, Reference, Source, holds
from pinmap.core.electrics.loads import Load
from pinmap.core.model.jobs import LoadCase


@dataclass(frozen=True)
class Layout:
    """``node`` by point; all other arrays of points by node. ``held`` nodes have a given voltage: the supply's where
    ``plus``, else 0."""

    node: Ints
    count: int
    a: Ints
    b: Ints
    active: Bools
    plus: Bools
    minus: Bools
    held: Bools
    has_plus: Bools
    has_minus: Bools
    has_reference: Bools
    fed: tuple[Load, ...]
    starved: tuple[Load, ...]
    closed: frozenset[str]
    references: tuple[Reference, ...]
    sources: tuple[Source, ...]
    plus_points: Ints
    minus_points: Ints


def lay_out(
    network: Network,
    case: LoadCase,
    *,
    barred: Collection[str] = (),
    shed: Collection[str] = (),
    like: Layout | None = None,
) -> Layout:
    """``barred`` relays stay open whatever their coil; ``shed`` loads are left out. ``like`` lends the nodes of an
    earlier layout of the same case."""
    code = case.code
    n = len(network.points)
    if like is None:
        node = labels(n, *network.joined(code))
        count = int(node.max()) + 1 if n else 0
        a, b = node[network.a], node[network.b]
    else:
        node, count, a, b = like.node, like.count, like.a, like.b
    plus_points = np.array([p for p, when in network.plus if holds(when, code)], dtype=np.int64)
    minus_points = np.array([p for p, when in network.minus if holds(when, code)], dtype=np.int64)
    plus, minus = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    plus[node[plus_points]] = True
    minus[node[minus_points]] = True
    plus &= ~minus
    held = plus | minus
    if network.post >= 0 and not holds(network.held, code):
        held = minus.copy()
    active = np.ones(network.a.size, dtype=bool)
    walker = _Walker(network, a, b, count, plus, minus)
    closed = _settle_relays(network, walker, active, frozenset(barred))
    has_plus, has_minus = walker.reach(active)
    references = tuple(
        r for r in network.references if has_plus[node[r.supply]] and has_minus[node[r.ground]]
    )  # fmt: skip
    has_reference = walker.spread(active, np.array([node[r.out] for r in references if r.feeds], dtype=np.int64))
    fed: list[Load] = []
    starved: list[Load] = []
    for load in network.loads:
        if code not in load.states or load.key in shed:
            continue
        f, g = network.feed_of.get(load.key), network.back_of.get(load.key)
        live = f is not None and bool(has_plus[node[f]] or has_reference[node[f]])
        (fed if live and g is not None and has_minus[node[g]] else starved).append(load)
    return Layout(
        node=node, count=count, a=a, b=b, active=active, plus=plus, minus=minus, held=held, has_plus=has_plus,
        has_minus=has_minus, has_reference=has_reference, fed=tuple(fed), starved=tuple(starved), closed=closed,
        references=references,
        sources=tuple(s for s in network.sources if holds(s.when, code) and has_plus[node[s.plus]]),
        plus_points=plus_points, minus_points=minus_points,
    )  # fmt: skip


def labels(n: int, a: Ints, b: Ints) -> Ints:
    """Connected parts of a graph: label by vertex."""
    # imported where it is used: it loads for long, and the app can start without
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(a.size, dtype=np.int8), (a, b)), shape=(n, n))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


class _Walker:
    """What a supply and battery minus reach other than through relay coils, diodes only forwards."""

    def __init__(self, network: Network, a: Ints, b: Ints, count: int, plus: Bools, minus: Bools) -> None:
        self.a, self.b, self.count, self.plus, self.minus = a, b, count, plus, minus
        self.fixed = plus | minus
        self.conducts = np.ones(a.size, dtype=bool)
        self.conducts[network.coils] = False
        self.conducts[network.diodes] = False
        self.diodes = network.diodes
        # Current does not pass through a source to the far side of it, so sources split the graph.
        self.inner = self.conducts & ~self.fixed[a] & ~self.fixed[b]
        self.relay_elements = np.array([e for r in network.relays for e in r[2:]], dtype=np.int64)
        always = self.inner.copy()
        always[self.relay_elements] = False
        self.fused = labels(count, a[always], b[always])  # parts that no relay contact changes
        self.parts = int(self.fused.max()) + 1 if count else 0
        self.edge_ids = {
            side: [np.flatnonzero(self.conducts & source[near]) for near in (a, b)]
            for side, source in (("plus", plus), ("minus", minus))
        }

    def _labels(self, active: Bools) -> Ints:
        contacts = self.relay_elements[active[self.relay_elements] & self.inner[self.relay_elements]]
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


def _settle_relays(network: Network, walker: _Walker, active: Bools, barred: frozenset[str]) -> frozenset[str]:
    """Closes the relays whose coil lies between a live supply and battery minus; sets their contacts in ``active``."""
    closed: set[str] = set()
    if not network.relays:
        return frozenset()
    keys = [key for key, *_ in network.relays]
    coil, opens, closes = (np.array([r[i] for r in network.relays], dtype=np.int64) for i in (1, 2, 3))
    a, b = walker.a[coil], walker.b[coil]
    free = np.array([key not in barred for key in keys])
    state = np.zeros(len(keys), dtype=bool)
    while True:
        active[opens], active[closes] = state, ~state
        has_plus, has_minus = walker.reach(active)
        more = free & ((has_plus[a] & has_minus[b]) | (has_minus[a] & has_plus[b])) & ~state
        if not more.any():
            break
        state |= more
    closed.update(key for key, on in zip(keys, state.tolist(), strict=True) if on)
    return frozenset(closed)
