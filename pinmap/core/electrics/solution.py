"""One load case solved, with relays that hold only on enough voltage and with loads that cannot be fed left out by
name."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pinmap.core.electrics.components import Bools, Floats, Ints, Network, Reference, Source
from pinmap.core.electrics.load_models import Law
from pinmap.core.electrics.loads import Load
from pinmap.core.electrics.newton import Plan, State
from pinmap.core.electrics.skeleton import held_in, labels
from pinmap.core.electrics.topology import Layout
from pinmap.core.errors import StructureError
from pinmap.core.facts.circuit import POWER_FLOOR_SHARE, REFERENCE_V, RELAY_HOLD_SHARE
from pinmap.core.model.jobs import LoadCase

_BLOCKS_A = 1e-6  # a diode with less than this current lets nothing through
_LEAST_SHARE = 0.02  # a constant current below this share of the supply would need a source of its own


@dataclass(frozen=True)
class Solution:
    """One solved load case. ``volts`` by point, NaN where nothing fixes the voltage; ``amps`` by element from a to b,
    0 where none can flow. ``fed`` are the loads whose current is in the solution, ``load_a`` their currents;
    ``starved`` are joined to no supply or no way back, ``collapsed`` are, but the way cannot carry what they want (load
    key -> why). ``weak`` relays have a coil with too little voltage to hold (key -> volts)."""

    volts: Floats
    amps: Floats
    blocking_diodes: Ints
    supply_a: float
    load_a: Floats
    collapsed: tuple[tuple[Load, str], ...]
    weak: tuple[tuple[str, float], ...]
    sources: tuple[tuple[Source, float], ...]
    references: tuple[tuple[Reference, float], ...]
    case: LoadCase
    layout: Layout

    # What only some ask for is worked out for them.

    @cached_property
    def _network(self) -> Network:
        return self.layout.frame.skeleton.network

    @cached_property
    def fed(self) -> tuple[Load, ...]:
        return tuple(self._network.loads[i] for i in self.layout.fed.tolist())

    @cached_property
    def starved(self) -> tuple[Load, ...]:
        return tuple(self._network.loads[i] for i in self.layout.starved.tolist())

    @cached_property
    def node(self) -> Ints:
        """By point: its node; points that are joined are one."""
        return labels(len(self._network.points), *self._network.joined(self.case.code))

    @cached_property
    def active(self) -> Bools:
        """By element: does it stand closed and, a diode, let current through?"""
        active = np.ones(self._network.a.size, dtype=bool)
        for key, _, opens, closes in self._network.relays:
            active[opens], active[closes] = key not in self.open_relays, key in self.open_relays
        active[self.blocking_diodes] = False
        return active

    @cached_property
    def has_plus(self) -> Bools:
        """By point: joined to a live supply or reference, coils and loads apart."""
        reach = self.layout.reach
        return self._by_point(reach.has_plus | reach.has_reference)

    @cached_property
    def has_minus(self) -> Bools:
        """By point: joined to battery minus, coils and loads apart."""
        return self._by_point(self.layout.reach.has_minus)

    @cached_property
    def open_relays(self) -> frozenset[str]:
        reach = self.layout.reach
        closed = set(reach.frame.skeleton.relays[reach.closed].tolist())
        return frozenset(r[0] for i, r in enumerate(self._network.relays) if i not in closed)

    @cached_property
    def plus_points(self) -> Ints:
        return held_in(((when, np.array([p])) for p, when in self._network.plus), self.case.code)

    @cached_property
    def minus_points(self) -> Ints:
        return held_in(((when, np.array([p])) for p, when in self._network.minus), self.case.code)

    def _by_point(self, flags: Bools) -> Bools:
        frame = self.layout.frame
        return frame.skeleton.point_flags(flags[frame.node])


class Solver:
    """Solves one load case again and again with other wire resistances; what does not depend on them is kept."""

    def __init__(self, network: Network, case: LoadCase) -> None:
        self.network, self.case, self.frames = network, case, network.frames
        self._barred: dict[int, float] = {}
        self._shed: list[int] = []
        self._base = self._plan = Plan(self.frames.lay_out(case), case)
        self._volts: Floats | None = None

    def solve(self, wire_ohm: Floats) -> Solution:
        """Raises StructureError if the currents do not balance, which only absurd resistances bring about."""
        if self._barred or self._shed:  # other resistances may hold a relay or feed a load again
            self._barred, self._shed, self._volts, self._plan = {}, [], None, self._base
        skeleton = self.frames.skeleton
        element_ohm = self.network.total_ohm(wire_ohm)
        ohm = skeleton.branch_ohm(element_ohm)
        for _ in range(len(self.network.relays) + len(self.network.loads) + 2):
            state = self._plan.solve(ohm, self._volts)
            weak, lost = self._weak(state), self._lost(state)
            if not weak and lost is None:
                break
            self._barred.update(weak)
            if lost is not None:
                self._shed.append(lost)
            self._volts = None
            self._plan = Plan(self.frames.lay_out(self.case, barred=self._barred, shed=self._shed), self.case)
        if not state.converged:
            raise StructureError(f"load case {self.case.name}: the currents do not balance; check resistances")
        self._volts = state.volts
        return self._solution(state, element_ohm)

    def _weak(self, state: State) -> dict[int, float]:
        """Closed relays whose coil has too little voltage to hold the contact, by place in the skeleton's."""
        reach = self._plan.layout.reach
        coil = reach.frame.skeleton.relay_parts[:, 0]
        volts = np.abs(state.volts[reach.frame.a[coil]] - state.volts[reach.frame.b[coil]])
        # A floating coil has NaN, which is not enough either.
        weak = reach.closed & ~(volts >= RELAY_HOLD_SHARE.value * self.network.nominal_v)
        return {i: float(np.nan_to_num(volts[i])) for i in np.flatnonzero(weak).tolist()}

    def _lost(self, state: State) -> int | None:
        """The load, by place in the network's, that is worst off below what its law allows; None if all can be fed."""
        plan = self._plan
        fed = plan.layout.fed
        if not fed.size:
            return None
        across = state.volts[plan.load_p] - state.volts[plan.load_q]
        share = across / np.where(self.network.load_table.on_reference[fed], REFERENCE_V.value, self.case.supply_v)
        floor = np.full(share.size, -np.inf)
        floor[plan.ids[Law.CURRENT]] = _LEAST_SHARE
        floor[plan.ids[Law.POWER]] = POWER_FLOOR_SHARE.value
        floor[plan.load_value <= 0] = -np.inf
        short = ~(share >= floor) & np.isfinite(floor)
        if not state.converged and not short.any():
            short = np.isin(np.arange(share.size), plan.ids[Law.POWER])
        if not short.any():
            return None
        return int(fed[int(np.argmin(np.where(short, np.nan_to_num(share, nan=-np.inf), np.inf)))])

    def _solution(self, state: State, element_ohm: Floats) -> Solution:
        network, layout, loads = self.network, self._plan.layout, self.network.loads
        skeleton, frame = layout.frame.skeleton, layout.frame
        amps = skeleton.element_amps(state.branch_a)
        return Solution(
            volts=skeleton.point_volts(state.volts[frame.node], state.branch_a, element_ohm),
            amps=amps,
            blocking_diodes=np.sort(network.diodes[amps[network.diodes] < _BLOCKS_A]),
            supply_a=state.supply_a,
            load_a=state.load_a,
            collapsed=tuple((loads[i], self._why(i, state)) for i in self._shed),
            weak=tuple((network.relays[int(skeleton.relays[i])][0], v) for i, v in self._barred.items()),
            sources=tuple(zip(self._plan.sources, state.source_a.tolist(), strict=True)),
            references=tuple(zip(layout.reach.references, state.reference_a.tolist(), strict=True)),
            case=self.case,
            layout=layout,
        )

    def _why(self, lost: int, state: State) -> str:
        """What the way to a load that was left out could give, by its open voltage and inner resistance."""
        plan, skeleton = self._plan, self.frames.skeleton
        frame = plan.layout.frame
        f, b = (int(frame.node[place[lost]]) for place in (skeleton.feed, skeleton.back))
        open_v = float(state.volts[f] - state.volts[b])
        wanted = self.network.loads[lost].draw(self.case.code)
        if wanted is None or plan.factors is None or not open_v > 0:
            return "the way carries nothing to it once the loads beside it have theirs"
        push = np.zeros(frame.count)
        push[f] += 1.0
        push[b] -= 1.0
        rise = plan.factors.solve(push)
        ohm = float(rise[f] - rise[b])
        if not ohm > 0:
            return "the way carries nothing to it once the loads beside it have theirs"
        if wanted.law is Law.POWER and open_v**2 / 4 / ohm >= wanted.value:
            return (
                f"the voltage collapses under its {wanted.value:.4g} W beside the loads that share its way: "
                f"{open_v:.4g} V and {ohm:.3g} ohm are left for it"
            )
        if wanted.law is Law.POWER:
            return (
                f"the voltage collapses under its {wanted.value:.4g} W: the way has {open_v:.4g} V and {ohm:.3g} ohm, "
                f"which give at most {open_v**2 / 4 / ohm:.3g} W"
            )
        return (
            f"the way cannot carry its {wanted.value:.4g} A: it has {open_v:.4g} V and {ohm:.3g} ohm, "
            f"which give at most {open_v / ohm:.3g} A into a dead short"
        )


def solve(network: Network, case: LoadCase, wire_ohm: Floats) -> Solution:
    """Solves one load case with these wire resistances [ohm], in the order of the routing's wires. Raises
    StructureError if the currents do not balance, which only absurd resistances bring about."""
    return Solver(network, case).solve(wire_ohm)
