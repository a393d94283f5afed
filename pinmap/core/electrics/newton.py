"""Node voltages of one layout by Newton's method on a sparse matrix whose pattern is worked out once.

Unknown are the nodes that some conducting path anchors to a given voltage. Branches: resistances, Shockley diodes
with series resistance, constant-power and resistive loads, sources with a current limit; constant currents stand on
the right-hand side; a unit's reference takes from its supply what it gives.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pinmap.core.electrics.components import Floats, Ints
from pinmap.core.electrics.load_models import Law
from pinmap.core.electrics.load_table import LAWS
from pinmap.core.electrics.matrix import Entries, Factors
from pinmap.core.electrics.skeleton import labels
from pinmap.core.electrics.topology import Layout
from pinmap.core.facts.circuit import (
    DIODE_IDEALITY,
    DIODE_SATURATION_A,
    JUNCTION_LEAK_S,
    POWER_FLOOR_SHARE,
    THERMAL_V,
)
from pinmap.core.model.jobs import LoadCase

_ROUNDS = 400
_TANGENT_ROUNDS = 60
_FAST = 0.1  # a step that leaves less than this share of the one before
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
    """Voltages by node (NaN where nothing anchors one), currents by branch, by fed load, source and reference."""

    volts: Floats
    branch_a: Floats
    load_a: Floats
    source_a: Floats
    reference_a: Floats
    supply_a: float
    converged: bool


class Pattern:
    """Where a matrix has entries: two-terminal branches of all kinds in one list, elements first, then resistive loads,
    diodes, power loads and sources; and which nodes' voltages are sought. Cases that differ in voltages and constant
    currents alone share it, and its factors where their resistances agree."""

    def __init__(self, layout: Layout, ohms: Ints, powers: Ints, s_plus: Ints, s_minus: Ints) -> None:
        reach, frame = layout.reach, layout.frame
        skeleton = frame.skeleton
        # A load without a place has -1 for one, which must lead somewhere even where nothing at all is connected.
        node = frame.node if frame.node.size else np.zeros(1, dtype=np.int64)
        feed, back = node[skeleton.feed], node[skeleton.back]
        # Branches that stand open or lie within one node stay out.
        used = reach.active & (frame.a != frame.b)
        is_diode = np.zeros(used.size, dtype=bool)
        is_diode[skeleton.diodes] = True
        self.plain, self.diodes = np.flatnonzero(used & ~is_diode), np.flatnonzero(used & is_diode)
        self.p = np.concatenate([frame.a[self.plain], feed[ohms], frame.a[self.diodes], feed[powers], s_plus])
        self.q = np.concatenate([frame.b[self.plain], back[ohms], frame.b[self.diodes], back[powers], s_minus])
        ends = np.cumsum([self.plain.size, ohms.size, self.diodes.size, powers.size, s_plus.size]).tolist()
        self.linear = slice(0, ends[1])
        self.at_diodes, self.at_powers, self.at_sources = (slice(ends[i - 1], ends[i]) for i in (2, 3, 4))
        place = skeleton.place
        self.r_supply, self.r_ground, self.r_out = (
            frame.node[place[np.array([getattr(r, name) for r in reach.references], dtype=np.int64)]]
            for name in ("supply", "ground", "out")
        )
        label = labels(frame.count, np.concatenate([self.p, self.r_ground]), np.concatenate([self.q, self.r_out]))
        anchored = np.zeros(frame.count, dtype=bool)
        anchored[label[frame.held]] = True
        self.anchored = anchored[label]  # a conducting path joins them to a node whose voltage is given
        self.unknown = self.anchored & ~frame.held
        refs = (self.r_supply, self.r_ground, self.r_out)
        self._entries = Entries.of(self.p, self.q, np.flatnonzero(self.unknown), frame.count, refs)
        self._last: tuple[Floats, Factors] | None = None

    def factorise(self, g: Floats) -> Factors:
        """Factors of the matrix with these conductances [S] of branches and references; the last ones if they are the
        same."""
        last, entries = self._last, self._entries  # read once: checks in other threads may share the pattern
        if last is not None and np.array_equal(last[0], g):
            return last[1]
        if last is not None and not entries.ordered:  # it is to be used again: that pays for putting it in order
            rows = last[1].rows[np.argsort(last[1].lu.perm_c)]
            refs = (self.r_supply, self.r_ground, self.r_out)
            entries = self._entries = Entries.of(self.p, self.q, rows, self.unknown.size, refs, ordered=True)
        found = entries.factorise(g)
        self._last = (g.copy(), found)
        return found


class Plan:
    """One load case ready to be solved; ``solve`` fills in resistances."""

    def __init__(self, layout: Layout, case: LoadCase) -> None:
        self.layout, self.case = layout, case
        reach, frame = layout.reach, layout.frame
        skeleton = frame.skeleton
        node, fed = frame.node, layout.fed
        law, self.load_value = layout.draws.law[fed], layout.draws.value[fed]
        self.load_p, self.load_q = node[skeleton.feed[fed]], node[skeleton.back[fed]]
        self.ids = {kind: np.flatnonzero(law == LAWS.index(kind)) for kind in Law}
        ground = int(np.argmax(frame.minus)) if frame.minus.any() else -1
        sources = [s for s in layout.sources if s.minus >= 0 or ground >= 0]
        self.sources = sources
        s_plus = np.array([node[skeleton.place[s.plus]] for s in sources], dtype=np.int64)
        s_minus = np.array(
            [node[skeleton.place[s.minus]] if s.minus >= 0 else ground for s in sources], dtype=np.int64
        )  # fmt: skip
        ohms, powers = fed[self.ids[Law.RESISTANCE]], fed[self.ids[Law.POWER]]
        key = (ohms.tobytes(), powers.tobytes(), s_plus.tobytes(), s_minus.tobytes())
        found = reach.patterns.get(key)
        if found is None:
            found = reach.patterns[key] = Pattern(layout, ohms, powers, s_plus, s_minus)
        self.pattern = found
        self.source_emf = np.array([s.volts(self.case.supply_v) for s in sources])
        self.source_ohm = np.array([s.ohm for s in sources])
        self.charge_ohm = np.array([s.charge_ohm for s in sources])
        self.most_a = np.array([s.most_a for s in sources])
        currents = self.ids[Law.CURRENT]
        drawn = self.load_value[currents]
        self.drawn = np.bincount(self.load_p[currents], drawn, frame.count)
        self.drawn -= np.bincount(self.load_q[currents], drawn, frame.count)
        self.r_volts = np.array([r.volts for r in reach.references])
        self.r_g = np.array([1 / r.ohm for r in reach.references])
        self.factors: Factors | None = None

    def solve(self, branch_ohm: Floats, start: Floats | None = None) -> State:
        """Voltages with these resistances of the skeleton's branches [ohm]; a diode's is its series resistance.
        ``start`` by node is a guess, such as the solution before."""
        shape, frame, count = self.pattern, self.layout.frame, self.layout.frame.count
        p, q, unknown = shape.p, shape.q, shape.unknown
        at_diodes, at_powers, at_sources = shape.at_diodes, shape.at_powers, shape.at_sources
        g = np.empty(p.size + self.r_g.size)
        g[: shape.plain.size] = 1 / branch_ohm[shape.plain]
        g[shape.plain.size : shape.linear.stop] = 1 / self.load_value[self.ids[Law.RESISTANCE]]
        g[p.size :] = self.r_g
        series = branch_ohm[shape.diodes]
        watts = self.load_value[self.ids[Law.POWER]]
        floor_v = POWER_FLOOR_SHARE.value * self.case.supply_v
        volts = np.zeros(count)
        volts[frame.plus & frame.held] = self.case.supply_v
        if start is not None:
            volts[unknown] = np.nan_to_num(start[unknown])
        bent = slice(at_diodes.start, p.size)
        current = np.empty(p.size)
        at = np.zeros(p.size)  # branch voltage at which each bent branch is replaced by its tangent

        def residual() -> tuple[Floats, Floats]:
            given = current + g[: p.size] * (volts[p] - volts[q] - at)
            out = self.drawn + np.bincount(p, given, count) - np.bincount(q, given, count)
            r_a = (volts[shape.r_ground] + self.r_volts - volts[shape.r_out]) * self.r_g
            if r_a.size:
                out = out + np.bincount(shape.r_supply, r_a, count) - np.bincount(shape.r_out, r_a, count)
            return np.asarray(out), r_a

        current[shape.linear] = 0.0
        self._begin(at, current, g, watts)
        self.factors, settled, converged = None, 0, False
        moved, slow = np.inf, False
        solvable = bool(unknown.any())
        p_bent, q_bent = p[bent], q[bent]
        for turn in range(_ROUNDS):
            if solvable:
                self.factors = shape.factorise(g)
                volts += self.factors.solve(-residual()[0])
            if not p_bent.size:
                converged = True
                break
            wanted = at.copy()
            wanted[bent] = volts[p_bent] - volts[q_bent]
            apart = np.abs(wanted - at)
            if turn and float(apart.max()) < _SOLVED_V:
                converged = True
                break
            others = max(float(apart[i].max(initial=0.0)) for i in (at_diodes, at_sources))
            settled += others < _SETTLED_V
            # Power loads follow as currents from above, which leaves the matrix as it is and mostly gains digits fast.
            # Else, once all else has settled, by their tangent; if that runs in circles, as currents to the end:
            # slower, but it comes down to the higher solution if there is one.
            before, moved = moved, float(apart[at_powers].max(initial=0.0))
            slow = slow or moved > _FAST * before
            follow = slow and (settled > 2 or start is not None) and turn < _TANGENT_ROUNDS
            if series.size:
                wanted[at_diodes] = _limited(wanted[at_diodes], at[at_diodes])
            if self.sources:
                wanted[at_sources] = self._one_region(wanted[at_sources], at[at_sources])
            at = wanted
            self._bend(at, current, g, series, watts, floor_v, follow)
        current = current + g[: p.size] * (volts[p] - volts[q] - at)
        at[:] = volts[p] - volts[q]
        out, r_a = residual()
        worst = float(np.abs(out[unknown]).max(initial=0.0))
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
        shape = self.pattern
        at[shape.at_diodes], current[shape.at_diodes], g[shape.at_diodes] = _KNEE_V, 0.1, 10.0
        at[shape.at_powers], g[shape.at_powers] = self.case.supply_v, 0.0
        current[shape.at_powers] = watts / self.case.supply_v
        at[shape.at_sources], current[shape.at_sources] = self.source_emf, 0.0
        g[shape.at_sources] = 1 / self.source_ohm

    def _bend(
        self, at: Floats, current: Floats, g: Floats, series: Floats, watts: Floats, floor_v: float, follow: bool
    ) -> None:  # fmt: skip
        """Currents and slopes of the bent branches at these voltages."""
        at_diodes, at_powers, at_sources = self.pattern.at_diodes, self.pattern.at_powers, self.pattern.at_sources
        if series.size:
            current[at_diodes], slope = diode(at[at_diodes], series)
            # What hangs on blocking diodes alone would vanish beside a wire's conductance; steps may be inexact.
            g[at_diodes] = np.maximum(slope, _LEAST_SLOPE_S)
        if watts.size:
            current[at_powers], slope = power_load(at[at_powers], watts, floor_v)
            g[at_powers] = slope if follow else np.maximum(slope, 0.0)
        if self.sources:
            over = self.source_emf - at[at_sources]
            given = np.minimum(over / np.where(over > 0, self.source_ohm, self.charge_ohm), self.most_a)
            current[at_sources] = -given
            ohm = np.where(over > 0, np.where(given < self.most_a, self.source_ohm, np.inf), self.charge_ohm)
            g[at_sources] = np.maximum(1 / ohm, _LEAST_SLOPE_S)

    def _state(self, volts: Floats, current: Floats, r_a: Floats, out: Floats, converged: bool) -> State:
        shape, frame = self.pattern, self.layout.frame
        branch = np.zeros(frame.a.size)
        branch[shape.plain] = current[: shape.plain.size]
        branch[shape.diodes] = current[shape.at_diodes]
        load = self.load_value.copy()
        load[self.ids[Law.RESISTANCE]] = current[shape.plain.size : shape.linear.stop]
        load[self.ids[Law.POWER]] = current[shape.at_powers]
        source = -current[shape.at_sources]
        held_plus = frame.plus & frame.held
        return State(
            volts=np.where(shape.anchored | frame.held, volts, np.nan), branch_a=branch, load_a=load, source_a=source,
            reference_a=r_a, supply_a=float(out[held_plus].sum()) + float(source.sum()), converged=converged,
        )  # fmt: skip
