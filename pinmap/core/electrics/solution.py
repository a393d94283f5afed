"""One load case solved, with relays that hold only on enough voltage and with loads that cannot be fed left out by
name."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pinmap.core.electrics.components import Bools, Floats, Ints, Network, Reference, Source
from pinmap.core.electrics.load_models import Law
from pinmap.core.electrics.loads import Load
from pinmap.core.electrics.newton import Plan, State
from pinmap.core.electrics.topology import lay_out
from pinmap.core.errors import StructureError
from pinmap.core.facts.circuit import POWER_FLOOR_SHARE, RELAY_HOLD_SHARE
from pinmap.core.model.jobs import LoadCase

_BLOCKS_A = 1e-6  # a diode with less than this current lets nothing through
_LEAST_SHARE = 0.02  # a constant current below this share of the supply would need a source of its own


@dataclass(frozen=True)
class Solution:
    """One solved load case. ``volts`` by point, NaN where nothing fixes the voltage; ``amps`` by element from a to b,
    0 where none can flow. ``fed`` are the loads whose current is in the solution, ``load_a`` their currents;
    ``starved`` are joined to no supply or no way back, ``collapsed`` are, but the way cannot carry what they want (load
    key -> why). ``weak`` relays have a coil with too little voltage to hold (key -> volts)."""

    node: Ints
    active: Bools
    volts: Floats
    amps: Floats
    has_plus: Bools  # by point: joined to a live supply or reference, coils and loads apart
    has_minus: Bools
    fed: tuple[Load, ...]
    starved: tuple[Load, ...]
    open_relays: frozenset[str]
    blocking_diodes: Ints
    plus_points: Ints
    minus_points: Ints
    supply_a: float
    load_a: Floats = field(default_factory=lambda: np.empty(0))
    collapsed: tuple[tuple[Load, str], ...] = ()
    weak: tuple[tuple[str, float], ...] = ()
    sources: tuple[tuple[Source, float], ...] = ()
    references: tuple[tuple[Reference, float], ...] = ()


class Solver:
    """Solves one load case again and again with other wire resistances; what does not depend on them is kept."""

    def __init__(self, network: Network, case: LoadCase) -> None:
        self.network, self.case = network, case
        self._barred: dict[str, float] = {}
        self._shed: dict[str, Load] = {}
        self._base = lay_out(network, case)
        self._plan = Plan(network, self._base, case)
        self._volts: Floats | None = None
        self._shed_for: Floats | None = None

    def solve(self, wire_ohm: Floats) -> Solution:
        """Raises StructureError if the currents do not balance, which only absurd resistances bring about."""
        if self._barred or self._shed:  # other resistances may hold a relay or feed a load again
            self._barred, self._shed, self._volts = {}, {}, None
            self._plan = Plan(self.network, self._base, self.case)
        for _ in range(len(self.network.relays) + len(self.network.loads) + 2):
            state = self._plan.solve(wire_ohm, self._volts)
            weak, lost = self._weak(state), self._lost(state)
            if not weak and lost is None:
                break
            self._barred.update(weak)
            if lost is not None:
                self._shed[lost.key] = lost
            self._volts = None
            layout = lay_out(self.network, self.case, barred=self._barred, shed=self._shed, like=self._base)
            self._plan = Plan(self.network, layout, self.case)
        if not state.converged:
            raise StructureError(f"load case {self.case.name}: the currents do not balance; check resistances")
        self._volts = state.volts
        return self._solution(state)

    def _weak(self, state: State) -> dict[str, float]:
        """Closed relays whose coil has too little voltage to hold the contact."""
        least = RELAY_HOLD_SHARE.value * self.network.nominal_v
        layout, out = self._plan.layout, {}
        for key, coil, _, _ in self.network.relays:
            if key in layout.closed:
                volts = abs(float(state.volts[layout.a[coil]] - state.volts[layout.b[coil]]))
                if not volts >= least:
                    out[key] = volts if volts == volts else 0.0
        return out

    def _lost(self, state: State) -> Load | None:
        """The load that is worst off below what its law allows; None if all can be fed."""
        plan = self._plan
        if not plan.layout.fed:
            return None
        across = state.volts[plan.load_p] - state.volts[plan.load_q]
        supply = np.array([5.0 if load.on_reference else self.case.supply_v for load in plan.layout.fed])
        share = across / supply
        floor = np.full(share.size, -np.inf)
        floor[plan.ids[Law.CURRENT]] = _LEAST_SHARE
        floor[plan.ids[Law.POWER]] = POWER_FLOOR_SHARE.value
        floor[plan.load_value <= 0] = -np.inf
        short = ~(share >= floor) & np.isfinite(floor)
        if not state.converged and not short.any():
            short = np.isin(np.arange(share.size), plan.ids[Law.POWER])
        if not short.any():
            return None
        return plan.layout.fed[int(np.argmin(np.where(short, np.nan_to_num(share, nan=-np.inf), np.inf)))]

    def _solution(self, state: State) -> Solution:
        network, layout = self.network, self._plan.layout
        node = layout.node
        active = layout.active.copy()
        blocking = network.diodes[state.element_a[network.diodes] < _BLOCKS_A]
        active[blocking] = False
        return Solution(
            node=node,
            active=active,
            volts=state.volts[node],
            amps=state.element_a,
            has_plus=(layout.has_plus | layout.has_reference)[node],
            has_minus=layout.has_minus[node],
            fed=layout.fed,
            starved=layout.starved,
            open_relays=frozenset(key for key, *_ in network.relays if key not in layout.closed),
            blocking_diodes=np.sort(blocking),
            plus_points=layout.plus_points,
            minus_points=layout.minus_points,
            supply_a=state.supply_a,
            load_a=state.load_a,
            collapsed=tuple((load, self._why(load, state)) for load in self._shed.values()),
            weak=tuple(self._barred.items()),
            sources=tuple(zip(self._plan.sources, state.source_a.tolist(), strict=True)),
            references=tuple(zip(layout.references, state.reference_a.tolist(), strict=True)),
        )

    def _why(self, load: Load, state: State) -> str:
        """What the way to a load that was left out could give, by its open voltage and inner resistance."""
        network, plan = self.network, self._plan
        f, b = (int(plan.layout.node[n[load.key]]) for n in (network.feed_of, network.back_of))
        open_v = float(state.volts[f] - state.volts[b])
        wanted = load.draw(self.case.code)
        if wanted is None or plan.factor is None or not open_v > 0:
            return "the way carries nothing to it once the loads beside it have theirs"
        push = np.zeros(plan.m)
        for point, sign in ((f, 1.0), (b, -1.0)):
            if plan.place[point] >= 0:
                push[plan.place[point]] += sign
        rise = np.zeros(plan.layout.count)
        rise[plan.unknown] = plan.factor.solve(push)
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
