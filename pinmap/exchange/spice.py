"""A load case as a SPICE netlist, for a second opinion from a circuit solver.

Nodes are n1, n2, ... and 0 for battery minus; comments say which places of the job each is. Only what can carry
current is written: open relay contacts, loads that are off or cannot be fed, and points that float are left out and
named in comments.
"""

from __future__ import annotations

import math
import re

import numpy as np

from pinmap.core.electrics.components import Floats, Network, Source, holds
from pinmap.core.electrics.load_models import Law
from pinmap.core.electrics.loads import Load
from pinmap.core.electrics.solution import Solution, solve
from pinmap.core.facts.circuit import DIODE_IDEALITY, DIODE_SATURATION_A, JUNCTION_LEAK_S, POWER_FLOOR_SHARE
from pinmap.core.model.jobs import LoadCase

_UNSAFE = re.compile(r"[^A-Za-z0-9 ._:@/()%+-]+")
_LONGEST = 100
_OPTIONS = (
    ".options reltol=1e-7 abstol=1e-10 vntol=1e-9 itl1=1000 temp=27 tnom=27 "
    f"gmin={JUNCTION_LEAK_S.value:g}"
)  # fmt: skip


def netlist(network: Network, case: LoadCase, wire_ohm: Floats | None = None) -> str:
    """The netlist of one load case, with the operating point asked for.

    ``wire_ohm``: resistance of each wire in the order of the routing's wires [ohm]; at 20 °C where it is left out.
    Raises StructureError as ``solution.solve`` does.
    """
    ohm = network.wire_ohm_20 if wire_ohm is None else wire_ohm
    return _Writer(network, case, solve(network, case, ohm), network.total_ohm(ohm)).text()


def node_names(solution: Solution) -> list[str]:
    """By point: its node in the netlist; "" for a point that floats."""
    grounded = np.zeros(int(solution.node.max(initial=-1)) + 1, dtype=bool)
    grounded[solution.node[solution.minus_points]] = True
    return [
        "0" if grounded[n] else "" if math.isnan(v) else f"n{n + 1}"
        for n, v in zip(solution.node.tolist(), solution.volts.tolist(), strict=True)
    ]


class _Writer:
    def __init__(self, network: Network, case: LoadCase, solution: Solution, ohm: Floats) -> None:
        self.network, self.case, self.solution, self.ohm = network, case, solution, ohm
        self.name = node_names(solution)
        self.lines: list[str] = []
        self.count = 0

    def text(self) -> str:
        self.lines = [f"Load case {_safe(self.case.name)}, {self.case.supply_v:g} V", _OPTIONS]
        self._say_nodes()
        self._supplies()
        self._elements()
        for load in self.solution.fed:
            self._load(load)
        self._left_out()
        return "\n".join((*self.lines, ".op", ".end", ""))

    def _say_nodes(self) -> None:
        for point, name in zip(self.network.points, self.name, strict=True):
            self._say(f"{name or 'floats'} is {point}")

    def _say(self, text: str) -> None:
        self.lines.append(f"* {_safe(text)}")

    def _add(self, kind: str, what: str, *words: str) -> None:
        self.count += 1
        self._say(what)
        self.lines.append(f"{kind}{self.count} {' '.join(words)}")

    def _supplies(self) -> None:
        network = self.network
        if network.post < 0 or holds(network.held, self.case.code):
            for name in dict.fromkeys(self.name[p] for p in self.solution.plus_points.tolist()):
                if name not in {"0", ""}:
                    self._add("V", "supply", name, "0", f"dc {_number(self.case.supply_v)}")
        for source, _ in self.solution.sources:
            self._source(source)
        # Current limits have corners, between which a solver that starts from a dead network may run in circles. The
        # guess is not held: the operating point is the solver's own.
        guess = {self.name[s.plus]: float(self.solution.volts[s.plus]) for s, _ in self.solution.sources}
        self.lines += [f".nodeset v({name})={volts:.3f}" for name, volts in guess.items() if name not in {"0", ""}]
        for r, _ in self.solution.references:
            supply, ground, out = (self.name[p] for p in (r.supply, r.ground, r.out))
            if out and out != "0":
                self._add("G", r.name, supply, out, ground, out, _number(1 / r.ohm))
                self._add("I", f"{r.name}, offset", supply, out, f"dc {_number(r.volts / r.ohm)}")

    def _source(self, source: Source) -> None:
        plus, minus = self.name[source.plus], self.name[source.minus] if source.minus >= 0 else "0"
        emf = source.volts(self.case.supply_v)
        if source.charge_ohm == source.ohm and math.isinf(source.most_a):
            self._add("V", source.name, f"emf{self.count + 1}", minus, f"dc {_number(emf)}")
            self._add("R", f"{source.name}, inside", f"emf{self.count}", plus, _number(source.ohm))
            return
        over = f"({_number(emf)}-v({plus}))" if minus == "0" else f"({_number(emf)}-v({plus},{minus}))"
        given = f"max({over},0)/{_number(source.ohm)}"
        if not math.isinf(source.most_a):
            given = f"min({given},{_number(source.most_a)})"
        if not math.isinf(source.charge_ohm):
            given += f"+min({over},0)/{_number(source.charge_ohm)}"
        self._add("B", source.name, minus, plus, f"i={given}")

    def _elements(self) -> None:
        network, diodes = self.network, set(self.network.diodes.tolist())
        for i, (a, b) in enumerate(zip(network.a.tolist(), network.b.tolist(), strict=True)):
            near, far = self.name[a], self.name[b]
            if not near or not far or near == far:
                continue
            if i in diodes:
                self._add("D", network.names[i], near, far, f"junction{i}")
                self.lines.append(
                    f".model junction{i} D(is={_number(DIODE_SATURATION_A.value)} n={_number(DIODE_IDEALITY.value)} "
                    f"rs={_number(float(self.ohm[i]))})"
                )
            elif self.solution.active[i]:
                self._add("R", network.names[i], near, far, _number(float(self.ohm[i])))
            else:
                self._say(f"open: {network.names[i]}")

    def _load(self, load: Load) -> None:
        draw = load.draw(self.case.code)
        if draw is None:
            return
        feed, back = (self.name[of[load.key]] for of in (self.network.feed_of, self.network.back_of))
        if not feed or not back or feed == back:
            return
        what = f"load {load.key}"
        if draw.law is Law.CURRENT:
            self._add("I", what, feed, back, f"dc {_number(draw.value)}")
        elif draw.law is Law.RESISTANCE:
            self._add("R", what, feed, back, _number(draw.value))
        else:
            across = f"v({feed})" if back == "0" else f"v({feed},{back})"
            if feed == "0":
                across = f"(-v({back}))"
            floor = _number(POWER_FLOOR_SHARE.value * self.case.supply_v)
            watts = _number(draw.value)
            low = f"{watts}*{across}/({floor}*{floor})"
            self._add("B", what, feed, back, f"i={across}>{floor} ? {watts}/max({across},{floor}) : {low}")

    def _left_out(self) -> None:
        for load in self.solution.starved:
            self._say(f"left out, not fed: load {load.key}")
        for load, why in self.solution.collapsed:
            self._say(f"left out: load {load.key}: {why}")


def _safe(text: str) -> str:
    """Text that can stand in a comment and nowhere else: one line, plain signs."""
    return _UNSAFE.sub(" ", text)[:_LONGEST].strip()


def _number(value: float) -> str:
    return repr(float(value))
