"""Node voltages of one layout by Newton's method on a sparse matrix whose pattern is worked out once.

Unknown are the nodes that some conducting path anchors to a given voltage. Branches: resistances, Shockley diodes
with series resistance, constant-power and resistive loads, sources with a current limit; constant currents stand on
the right-hand side; a unit's reference takes from its supply what it gives.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pinmap.core.electrics.components import Bools, Floats, Ints, Network
from pinmap.core.electrics.load_models import Law
from pinmap.core.electrics.topology import Layout, labels
from pinmap.core.facts.circuit import (
    DIODE_IDEALITY,
    DIODE_SATURATION_A,
    JUNCTION_LEAK_S,
    POWER_FLOOR_SHARE,
    THERMAL_V,
)
from pinmap.core.model.jobs import LoadCase

if TYPE_CHECKING:  # scipy loads for long and the app can start without; so it is imported where it is used
    from scipy.sparse.linalg import SuperLU

_ROUNDS = 400
_TANGENT_ROUNDS = 60
_SETTLED_V = 1e-3
_SOLVED_V = 1e-10
_LEAST_SLOPE_S = 1e-8
_SLOPE_V = DIODE_IDEALITY.value * THERMAL_V.value


def diode(volts: Floats, series_ohm: Floats) -> tuple[Floats, Floats]:
    """Current [A] and conductance [S] of a junction in series with a resistance.

    Shockley: i = Is·(e^((v - i·R)/(n·Vt)) - 1), solved in closed form by the Wright omega function; a least
    conductance lies beside it.
    """
    from scipy.special import wrightomega

    saturation = DIODE_SATURATION_A.value
    scale = saturation * series_ohm / _SLOPE_V
    omega = wrightomega(np.log(scale) + scale + volts / _SLOPE_V)
    leak = JUNCTION_LEAK_S.value
    current = omega * _SLOPE_V / series_ohm - saturation + leak * volts
    return np.asarray(current), np.asarray(omega / (1 + omega) / series_ohm + leak)


def power_load(volts: Floats, watts: Floats, floor_v: float) -> tuple[Floats, Floats]:
    """Current and conductance of constant-power loads; below ``floor_v`` they are resistances."""
    safe = np.maximum(volts, floor_v)
    high = volts > floor_v
    current = np.where(high, watts / safe, watts * volts / floor_v**2)
    return current, np.where(high, -watts / safe**2, watts / floor_v**2)


_KNEE_V = _SLOPE_V * float(np.log(_SLOPE_V / (np.sqrt(2.0) * DIODE_SATURATION_A.value)))


def _limited(wanted: Floats, before: Floats) -> Floats:
    """Next branch voltage of diodes: beyond the knee it grows by the logarithm of the step, as circuit solvers do."""
    jump = np.maximum((wanted - before) / _SLOPE_V, -0.999)
    from_on = np.where(wanted > before, before + _SLOPE_V * np.log1p(np.maximum(jump, 0.0)), wanted)
    from_off = _SLOPE_V * np.log(np.maximum(wanted, _SLOPE_V) / _SLOPE_V)
    grown = np.where(before > 0, from_on, np.maximum(from_off, before))
    return np.where((wanted > _KNEE_V) & (np.abs(wanted - before) > 2 * _SLOPE_V), grown, wanted)


@dataclass(frozen=True)
class State:
    """Voltages by node (NaN where nothing anchors one), currents by element and by fed load."""

    volts: Floats
    element_a: Floats
    load_a: Floats
    source_a: Floats
    reference_a: Floats
    supply_a: float
    converged: bool


class Plan:
    """The pattern of one layout's matrix; ``solve`` fills in resistances."""

    def __init__(self, network: Network, layout: Layout, case: LoadCase) -> None:
        self.network, self.layout, self.case = network, layout, case
        node, count = layout.node, layout.count
        self._branches(network, layout, node)
        anchored = self._anchored(count)
        self.live_element = layout.active & anchored[layout.a]
        self.unknown = anchored & ~layout.held
        self.anchored = anchored
        self.m = int(self.unknown.sum())
        self.place = np.full(count, -1, dtype=np.int64)
        self.place[self.unknown] = np.arange(self.m)
        self._pattern()
        self.factor: SuperLU | None = None

    def _branches(self, network: Network, layout: Layout, node: Ints) -> None:
        """Two-terminal branches, all kinds in one list: elements, then loads by law, then sources."""
        fed = layout.fed
        code = self.case.code
        draws = [load.draw(code) for load in fed]
        law = [None if d is None else d.law for d in draws]
        value = np.array([0.0 if d is None else d.value for d in draws], dtype=float)
        feed = np.array([node[network.feed_of[load.key]] for load in fed], dtype=np.int64)
        back = np.array([node[network.back_of[load.key]] for load in fed], dtype=np.int64)
        self.load_p, self.load_q, self.load_value = feed, back, value
        self.ids = {kind: np.array([i for i, x in enumerate(law) if x is kind], dtype=np.int64) for kind in Law}
        ohms, powers = self.ids[Law.RESISTANCE], self.ids[Law.POWER]
        ground = int(np.argmax(layout.minus)) if layout.minus.any() else -1
        sources = [s for s in layout.sources if s.minus >= 0 or ground >= 0]
        self.sources = sources
        s_plus = np.array([node[s.plus] for s in sources], dtype=np.int64)
        s_minus = np.array([node[s.minus] if s.minus >= 0 else ground for s in sources], dtype=np.int64)
        # Elements that stand open or lie within one node stay out.
        self.used = np.flatnonzero(layout.active & (layout.a != layout.b))
        is_diode = np.zeros(layout.active.size, dtype=bool)
        is_diode[network.diodes] = True
        self.plain = self.used[~is_diode[self.used]]
        self.diodes = self.used[is_diode[self.used]]
        self.p = np.concatenate([layout.a[self.plain], feed[ohms], layout.a[self.diodes], feed[powers], s_plus])
        self.q = np.concatenate([layout.b[self.plain], back[ohms], layout.b[self.diodes], back[powers], s_minus])
        sizes = [self.plain.size, ohms.size, self.diodes.size, powers.size, len(sources)]
        ends = np.cumsum(sizes)
        self.linear = slice(0, int(ends[1]))
        self.at_diodes, self.at_powers, self.at_sources = (slice(int(ends[i - 1]), int(ends[i])) for i in (2, 3, 4))
        self.source_emf = np.array([self.case.supply_v if s.emf_v is None else s.emf_v for s in sources])
        self.source_ohm = np.array([s.ohm for s in sources])
        self.charge_ohm = np.array([s.charge_ohm for s in sources])
        self.most_a = np.array([s.most_a for s in sources])
        self.drawn = np.zeros(layout.count)
        currents = self.ids[Law.CURRENT]
        np.add.at(self.drawn, feed[currents], value[currents])
        np.add.at(self.drawn, back[currents], -value[currents])
        refs = layout.references
        self.r_supply, self.r_ground, self.r_out = (
            np.array([node[getattr(r, name)] for r in refs], dtype=np.int64) for name in ("supply", "ground", "out")
        )
        self.r_volts = np.array([r.volts for r in refs])
        self.r_g = np.array([1 / r.ohm for r in refs])

    def _anchored(self, count: int) -> Bools:
        """Nodes that a conducting path joins to one whose voltage is given."""
        label = labels(count, np.concatenate([self.p, self.r_ground]), np.concatenate([self.q, self.r_out]))
        anchored = np.zeros(count, dtype=bool)
        anchored[label[self.layout.held]] = True
        return np.asarray(anchored[label])

    def _pattern(self) -> None:
        p, q = self.place[self.p], self.place[self.q]
        s, g, o = self.place[self.r_supply], self.place[self.r_ground], self.place[self.r_out]
        branch, refs = np.arange(p.size), p.size + np.arange(s.size)
        rows = np.concatenate([p, q, p, q, s, s, o, o])
        columns = np.concatenate([p, q, q, p, g, o, g, o])
        which = np.concatenate([branch] * 4 + [refs] * 4)
        sign = np.repeat(
            np.array([1.0, 1.0, -1.0, -1.0, 1.0, -1.0, -1.0, 1.0]), [p.size] * 4 + [s.size] * 4
        )  # fmt: skip
        inside = (rows >= 0) & (columns >= 0)
        rows, columns, self.which, self.sign = rows[inside], columns[inside], which[inside], sign[inside]
        key = columns * max(self.m, 1) + rows
        unique, self.slot = np.unique(key, return_inverse=True)
        self.indices = (unique % max(self.m, 1)).astype(np.int32)
        heads = np.searchsorted(unique // max(self.m, 1), np.arange(self.m + 1))
        self.indptr = heads.astype(np.int32)

    def _factorise(self, g: Floats) -> SuperLU:
        from scipy.sparse import csc_array
        from scipy.sparse.linalg import splu

        data = np.bincount(self.slot, self.sign * g[self.which], minlength=self.indices.size)
        matrix = csc_array((data, self.indices, self.indptr), shape=(self.m, self.m))
        return splu(
            matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )  # fmt: skip

    def solve(self, wire_ohm: Floats, start: Floats | None = None) -> State:
        """Voltages with these wire resistances [ohm]. ``start`` by node is a guess, such as the solution before."""
        layout, count = self.layout, self.layout.count
        ohm = self.network.total_ohm(wire_ohm)
        g = np.empty(self.p.size + self.r_g.size)
        g[: self.plain.size] = 1 / ohm[self.plain]
        g[self.plain.size : self.linear.stop] = 1 / self.load_value[self.ids[Law.RESISTANCE]]
        g[self.p.size :] = self.r_g
        series = ohm[self.diodes]
        watts = self.load_value[self.ids[Law.POWER]]
        floor_v = POWER_FLOOR_SHARE.value * self.case.supply_v
        volts = np.zeros(count)
        volts[layout.plus & layout.held] = self.case.supply_v
        if start is not None:
            volts[self.unknown] = np.nan_to_num(start[self.unknown])
        bent = slice(self.at_diodes.start, self.p.size)
        current = np.empty(self.p.size)
        at = np.zeros(self.p.size)  # branch voltage at which each bent branch is replaced by its tangent

        def residual() -> tuple[Floats, Floats]:
            across = volts[self.p] - volts[self.q]
            given = current + g[: self.p.size] * (across - at)
            out = self.drawn + np.bincount(self.p, given, count) - np.bincount(self.q, given, count)
            r_a = (volts[self.r_ground] + self.r_volts - volts[self.r_out]) * self.r_g
            out = out + np.bincount(self.r_supply, r_a, count) - np.bincount(self.r_out, r_a, count)
            return np.asarray(out), r_a

        current[self.linear] = 0.0
        self._begin(at, current, g, watts)
        self.factor, settled, converged = None, 0, False
        for turn in range(_ROUNDS):
            if self.m:
                self.factor = self._factorise(g)
                volts[self.unknown] += self.factor.solve(-residual()[0][self.unknown])
            if bent.start == self.p.size:
                converged = True
                break
            across = volts[self.p] - volts[self.q]
            apart = np.abs(across[bent] - at[bent])
            if turn and float(apart.max()) < _SOLVED_V:
                converged = True
                break
            others = np.concatenate([across[i] - at[i] for i in (self.at_diodes, self.at_sources)])
            settled += bool(np.abs(others).max(initial=0.0) < _SETTLED_V)
            # Power loads follow as currents from above until all else has settled, then by their tangent; if that
            # runs in circles, as currents to the end: slower, but it comes down to the higher solution if there is one.
            follow = (settled > 2 or start is not None) and turn < _TANGENT_ROUNDS
            at[self.at_diodes] = _limited(across[self.at_diodes], at[self.at_diodes])
            at[self.at_powers] = across[self.at_powers]
            at[self.at_sources] = self._one_region(across[self.at_sources], at[self.at_sources])
            self._bend(at, current, g, series, watts, floor_v, follow)
        current = current + g[: self.p.size] * (volts[self.p] - volts[self.q] - at)
        at[:] = volts[self.p] - volts[self.q]
        out, r_a = residual()
        worst = float(np.abs(out[self.unknown]).max(initial=0.0))
        converged = converged and worst <= 1e-6 * max(1.0, float(np.abs(current).max(initial=0.0)))
        return self._state(volts, current, r_a, out, converged)

    def _one_region(self, wanted: Floats, before: Floats) -> Floats:
        """Next voltage of sources: one at its limit does not fall silent, nor the other way, without regulating."""
        emf = self.source_emf
        low = emf - self.source_ohm * self.most_a
        leaps = ((before <= low) & (wanted >= emf)) | ((before >= emf) & (wanted <= low))
        return np.asarray(np.where(leaps, (np.maximum(low, emf - 1.0) + emf) / 2, wanted))

    def _begin(self, at: Floats, current: Floats, g: Floats, watts: Floats) -> None:
        """Tangents to begin with: diodes conduct, sources give, power loads draw what they would at the supply."""
        at[self.at_diodes], current[self.at_diodes], g[self.at_diodes] = _KNEE_V, 0.1, 10.0
        at[self.at_powers], g[self.at_powers] = self.case.supply_v, 0.0
        current[self.at_powers] = watts / self.case.supply_v
        at[self.at_sources], current[self.at_sources], g[self.at_sources] = self.source_emf, 0.0, 1 / self.source_ohm

    def _bend(
        self, at: Floats, current: Floats, g: Floats, series: Floats, watts: Floats, floor_v: float, follow: bool
    ) -> None:  # fmt: skip
        """Currents and slopes of the bent branches at these voltages."""
        if series.size:
            current[self.at_diodes], slope = diode(at[self.at_diodes], series)
            # What hangs on blocking diodes alone would vanish beside a wire's conductance; steps may be inexact.
            g[self.at_diodes] = np.maximum(slope, _LEAST_SLOPE_S)
        if watts.size:
            current[self.at_powers], slope = power_load(at[self.at_powers], watts, floor_v)
            g[self.at_powers] = slope if follow else np.maximum(slope, 0.0)
        if self.sources:
            over = self.source_emf - at[self.at_sources]
            given = np.minimum(over / np.where(over > 0, self.source_ohm, self.charge_ohm), self.most_a)
            current[self.at_sources] = -given
            ohm = np.where(over > 0, np.where(given < self.most_a, self.source_ohm, np.inf), self.charge_ohm)
            g[self.at_sources] = np.maximum(1 / ohm, _LEAST_SLOPE_S)

    def _state(self, volts: Floats, current: Floats, r_a: Floats, out: Floats, converged: bool) -> State:
        shown = np.where(self.anchored | self.layout.held, volts, np.nan)
        element = np.zeros(self.network.a.size)
        element[self.plain] = current[: self.plain.size]
        element[self.diodes] = current[self.at_diodes]
        load = self.load_value.copy()
        load[self.ids[Law.RESISTANCE]] = current[self.plain.size : self.linear.stop]
        load[self.ids[Law.POWER]] = current[self.at_powers]
        source = -current[self.at_sources]
        held_plus = self.layout.plus & self.layout.held
        return State(
            volts=shown, element_a=element, load_a=load, source_a=source, reference_a=r_a,
            supply_a=float(out[held_plus].sum()) + float(source.sum()), converged=converged,
        )  # fmt: skip
