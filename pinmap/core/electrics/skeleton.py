"""What of a network can carry current, drawn together: elements in series are one branch, dead pieces are left out.

Between a pin and a splice lie a contact, the wire and another contact, and nothing else: most points of a loom only
pass current on. A network is drawn together once, for all its load cases; each case then solves for the voltages of
what is left, and the points between get theirs from their branch's current. Nothing is neglected by it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from pinmap.core.electrics.components import Bools, Floats, Ints, Network, holds
from pinmap.core.electrics.load_table import Draws


@dataclass(frozen=True)
class Skeleton:
    """``kept`` are the points that remain, ``place`` by point says where among them, -1 for none. ``branch`` by element
    is -1 for what is left out, ``along`` 1 where both point the same way, else -1; ``a``, ``b`` are ends by branch.

    ``chain`` lists the elements of all branches that have points inside, each from its end a on; ``chain_branch`` their
    branches, ``chain_point`` the points that they lead to, ``chain_inner`` whether such a point lies inside.
    All else is the network's own, by kept point and branch; -1 stands for a point that is left out.
    """

    network: Network
    kept: Ints
    place: Ints
    branch: Ints
    along: Floats
    a: Ints
    b: Ints
    chain: Ints
    chain_branch: Ints
    chain_point: Ints
    chain_inner: Bools
    chain_first: Ints  # by chain element: where its branch begins in ``chain``
    diodes: Ints
    coils: Ints
    relays: Ints  # rows of the network's relays that remain
    relay_parts: Ints  # by such a relay: coil, normally open, normally closed
    joins: tuple[tuple[str, Ints, Ints], ...]
    plus: tuple[tuple[str, Ints], ...]
    minus: tuple[tuple[str, Ints], ...]
    feed: Ints
    back: Ints
    _draws: dict[str, Draws] = field(default_factory=dict)

    def draws(self, code: str) -> Draws:
        """What each load draws in cases of this letter; remembered."""
        found = self._draws.get(code)
        if found is None:
            found = self._draws[code] = self.network.load_table.draws(code)
        return found

    @cached_property
    def runs(self) -> tuple[Ints, Ints]:
        """Elements of all branches, each from its end a on, and where each branch begins there; one more at the end."""
        single = np.flatnonzero((self.branch >= 0) & (self.branch < self.a.size - self._chains))
        starts = np.flatnonzero(np.diff(self.chain_branch, prepend=-1))
        run = np.concatenate([single, self.chain])
        return run, np.concatenate([np.arange(single.size), single.size + starts, [run.size]])

    @property
    def _chains(self) -> int:
        return int(np.unique(self.chain_branch).size)

    def elements(self, branch: int) -> list[int]:
        """Elements of a branch, from its end a on."""
        run, offset = self.runs
        return [int(e) for e in run[offset[branch] : offset[branch + 1]]]

    def branch_ohm(self, element_ohm: Floats) -> Floats:
        """Resistance of each branch [ohm], from that of every element."""
        there = self.branch >= 0
        return np.bincount(self.branch[there], element_ohm[there], self.a.size).astype(float, copy=False)

    def point_volts(self, volts: Floats, branch_a: Floats, element_ohm: Floats) -> Floats:
        """By point of the network, from volts by kept point and current by branch; NaN where nothing fixes one."""
        out = np.full(self.place.size, np.nan)
        out[self.kept] = volts
        lost = branch_a[self.chain_branch] * element_ohm[self.chain]
        # Lost from the branch's end a on: running sums within each branch.
        sums = np.cumsum(lost)
        lost = sums - (sums - lost)[self.chain_first]
        inner = self.chain_inner
        out[self.chain_point[inner]] = (volts[self.a[self.chain_branch]] - lost)[inner]
        return out

    def point_flags(self, flags: Bools) -> Bools:
        """By point of the network, from flags by kept point; a point inside a branch has what either end has."""
        out = np.zeros(self.place.size, dtype=bool)
        out[self.kept] = flags
        ends = flags[self.a] | flags[self.b]
        out[self.chain_point[self.chain_inner]] = ends[self.chain_branch[self.chain_inner]]
        return out

    def element_amps(self, branch_a: Floats) -> Floats:
        """By element, from its end a to its end b."""
        return np.where(self.branch >= 0, self.along * branch_a[self.branch], 0.0) if branch_a.size else 0 * self.along


def labels(n: int, a: Ints, b: Ints) -> Ints:
    """Connected parts of a graph: label by vertex, from 0 on.

    Each vertex points to a lower one of its part; edges hang the higher of two roots on the lower, then all vertices
    point to their root. A few rounds do for a loom's shallow parts, where that is several times faster than to build a
    sparse matrix for a graph search; any graph needs O(log n) rounds.
    """
    root = np.arange(n)
    while True:
        near, far = root[a], root[b]
        apart = np.flatnonzero(near != far)
        if not apart.size:
            break
        a, b, near, far = a[apart], b[apart], near[apart], far[apart]
        np.minimum.at(root, np.maximum(near, far), np.minimum(near, far))
        while not np.array_equal(above := root[root], root):
            root = above
    return np.asarray((np.cumsum(root == np.arange(n)) - 1)[root])


def skeleton(network: Network) -> Skeleton:
    """Draws a network together; cost grows with the number of elements and with the longest branch."""
    n, a, b = len(network.points), network.a, network.b
    feed, back = network.feed, network.back
    ties = _ties(network)
    alive = _alive(network, ties)
    special = ~alive
    ends = [points for group in ties for points in group]
    for points in (*ends, feed, back, _points(p for p, _ in (*network.plus, *network.minus))):
        special[points[points >= 0]] = True
    ring = a == b
    special[a[ring]] = True
    inner = ~special & (np.bincount(a, minlength=n) + np.bincount(b, minlength=n) == 2)
    kept = np.flatnonzero(alive & ~inner)
    place = np.full(n, -1, dtype=np.int64)
    place[kept] = np.arange(kept.size)
    single = np.flatnonzero(alive[a] & ~inner[a] & ~inner[b])
    chain, walker, towards, chain_start, chain_end = _chains(a, b, inner, alive)
    count = single.size
    branch = np.full(a.size, -1, dtype=np.int64)
    branch[single] = np.arange(count)
    branch[chain] = walker + count
    along = np.where(branch >= 0, 1.0, 0.0)
    along[chain] = np.where(b[chain] == towards, 1.0, -1.0)
    first = np.flatnonzero(np.r_[True, walker[1:] != walker[:-1]]) if walker.size else walker
    relay_table = np.array([r[1:] for r in network.relays], dtype=np.int64).reshape(-1, 3)
    relays = np.flatnonzero((branch[relay_table] >= 0).all(axis=1))

    def there(pairs: Iterable[tuple[int, str]]) -> tuple[tuple[str, Ints], ...]:
        found: dict[str, list[int]] = {}
        for point, when in pairs:
            if place[point] >= 0:
                found.setdefault(when, []).append(int(place[point]))
        return tuple((when, np.array(points, dtype=np.int64)) for when, points in found.items())

    return Skeleton(
        network=network, kept=kept, place=place, branch=branch, along=along,
        a=place[np.concatenate([a[single], chain_start])], b=place[np.concatenate([b[single], chain_end])],
        chain=chain, chain_branch=branch[chain], chain_point=towards, chain_inner=inner[towards],
        chain_first=np.repeat(first, np.diff(np.r_[first, walker.size])),
        diodes=branch[network.diodes[branch[network.diodes] >= 0]],
        coils=branch[network.coils[branch[network.coils] >= 0]],
        relays=relays, relay_parts=branch[relay_table[relays]],
        joins=tuple(
            (when, place[x[alive[x]]], place[y[alive[x]]]) for when, x, y in network.join_groups if alive[x].any()
        ),
        plus=there(network.plus), minus=there(network.minus),
        feed=np.where(feed >= 0, place[feed], -1), back=np.where(back >= 0, place[back], -1),
    )  # fmt: skip


def _points(found: Iterable[int]) -> Ints:
    return np.fromiter(found, dtype=np.int64)


def _ties(network: Network) -> tuple[tuple[Ints, ...], ...]:
    """Points at which something other than plain resistances meets. The n-th points of one group belong together:
    the two of a join, the ends of a relay's parts or of a diode, the points of a reference or a source."""
    relays = np.array([r[1:] for r in network.relays], dtype=np.int64).reshape(-1, 3)
    return (
        tuple(np.concatenate([_points(()), *(g[i] for g in network.join_groups)]) for i in (1, 2)),
        tuple(x[relays[:, i]] for i in range(3) for x in (network.a, network.b)),
        (network.a[network.diodes], network.b[network.diodes]),
        tuple(_points(getattr(r, name) for r in network.references) for name in ("supply", "ground", "out")),
        tuple(_points(getattr(s, name) for s in network.sources) for name in ("plus", "minus")),
    )


def _alive(network: Network, ties: tuple[tuple[Ints, ...], ...]) -> Bools:
    """Points in pieces that a supply or battery minus belongs to in some case; the others have no voltage, ever."""
    n, starts, ends = len(network.points), [network.a], [network.b]
    for first, *others in ties:
        for other in others:
            both = (first >= 0) & (other >= 0)
            starts.append(first[both])
            ends.append(other[both])
    label = labels(n, np.concatenate(starts), np.concatenate(ends))
    fixed = np.zeros(n, dtype=bool)
    fixed[label[_points(p for p, _ in (*network.plus, *network.minus))]] = True
    return np.asarray(fixed[label])


def _chains(a: Ints, b: Ints, inner: Bools, alive: Bools) -> tuple[Ints, Ints, Ints, Ints, Ints]:
    """Elements in series, walked from both ends of all branches at once; each branch is kept as walked from the end
    whose element has the lower number. Elements, the number of their branch, the point that each leads to, in order;
    then the end points of each branch."""
    touching = np.flatnonzero(alive[a] & (inner[a] | inner[b]))
    sum_of = np.zeros(alive.size, dtype=np.int64)  # of the two elements at an inner point: one less gives the other
    np.add.at(sum_of, a[touching], touching)
    np.add.at(sum_of, b[touching], touching)
    from_a, from_b = touching[~inner[a[touching]]], touching[~inner[b[touching]]]
    start = np.concatenate([from_a, from_b])
    origin = np.concatenate([a[from_a], b[from_b]])
    walker, element, here = np.arange(start.size), start, origin
    steps: list[tuple[Ints, Ints, Ints]] = []
    last, goal = np.empty_like(start), np.empty_like(start)
    while walker.size:
        ahead = a[element] + b[element] - here
        steps.append((element, walker, ahead))
        last[walker], goal[walker] = element, ahead
        on = inner[ahead]
        walker, here = walker[on], ahead[on]
        element = sum_of[here] - element[on]
    if not steps:
        none = _points(())
        return none, none, none, none, none
    elements, walkers, towards = (np.concatenate(column) for column in zip(*steps, strict=True))
    lowest = np.full(start.size, a.size)
    np.minimum.at(lowest, walkers, elements)
    chosen = np.flatnonzero(start < last)
    chosen = chosen[np.argsort(lowest[chosen])]  # in the order of their wires, so that equal ways are taken in theirs
    number = np.full(start.size, -1, dtype=np.int64)
    number[chosen] = np.arange(chosen.size)
    mine = number[walkers] >= 0
    elements, towards, walkers = elements[mine], towards[mine], number[walkers[mine]]
    order = np.argsort(walkers, kind="stable")
    return elements[order], walkers[order], towards[order], origin[chosen], goal[chosen]


def held_in(groups: Iterable[tuple[str, Ints]], code: str) -> Ints:
    """The points of these groups that are live in cases of this letter."""
    found = [points for when, points in groups if holds(when, code)]
    return np.concatenate(found) if found else _points(())
