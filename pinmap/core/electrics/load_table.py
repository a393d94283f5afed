"""The loads of a network as arrays, by load case."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pinmap.core.electrics.components import Bools, Floats, Ints
from pinmap.core.electrics.load_models import Law
from pinmap.core.electrics.loads import Load
from pinmap.core.facts.circuit import REFERENCE_V

NO_LAW = -1  # of a load of which nothing is known
LAWS: tuple[Law, ...] = tuple(Law)


@dataclass(frozen=True)
class Draws:
    """By load, in cases of one letter: is it on, its law as an index of ``LAWS``, and the law's value."""

    on: Bools
    law: Ints
    value: Floats


@dataclass(frozen=True)
class LoadTable:
    """What loads draw in every case, and which of them draw something else in some; each once, by place."""

    loads: Sequence[Load]
    law: Ints
    value: Floats
    states: tuple[str, ...]  # each set of letters once
    state: Ints  # by load: which of these
    by_case: Ints  # loads that draw by letter
    on_reference: Bools
    uneven: Bools  # pulsed or intermittent in some case
    own_need_v: Floats  # the component's own least voltage, NaN for none
    drop_pct: Floats

    def draws(self, code: str) -> Draws:
        """What each load draws in cases of this letter."""
        on = np.array([code in letters for letters in self.states], dtype=bool)[self.state]
        law, value = self.law.copy(), self.value.copy()
        for i in self.by_case.tolist():
            draw = self.loads[i].draw(code)
            law[i], value[i] = (NO_LAW, 0.0) if draw is None else (LAWS.index(draw.law), draw.value)
        return Draws(on, law, value)

    def fed_v(self, supply_v: float) -> Floats:
        """What each load's feed starts from [V]: ``Load.fed_with_v``."""
        return np.where(self.on_reference, REFERENCE_V.value, supply_v)

    def need_v(self, supply_v: float) -> Floats:
        """The least voltage at each load [V]: ``Load.need``."""
        by_drop = self.fed_v(supply_v) * (1 - self.drop_pct / 100)
        return np.where(np.isnan(self.own_need_v), by_drop, self.own_need_v)


def load_table(loads: Sequence[Load]) -> LoadTable:
    states: dict[str, int] = {}
    state, law, value, by_case = [], [], [], []
    of = {each: i for i, each in enumerate(LAWS)}
    for i, load in enumerate(loads):
        state.append(states.setdefault(load.states, len(states)))
        always = None if load.model is None or load.model.draws.keys() != {""} else load.model.draws[""]
        if load.current_a is None:
            law.append(NO_LAW)
            value.append(0.0)
        elif always is not None:
            law.append(of[always.law])
            value.append(always.value)
        else:
            law.append(of[Law.CURRENT])
            value.append(load.current_a)
            if load.model is not None:
                by_case.append(i)
    return LoadTable(
        loads=loads, law=np.array(law, dtype=np.int64), value=np.array(value, dtype=float), states=tuple(states),
        state=np.array(state, dtype=np.int64), by_case=np.array(by_case, dtype=np.int64),
        on_reference=np.fromiter((load.on_reference for load in loads), dtype=bool, count=len(loads)),
        uneven=np.fromiter(map(_uneven, loads), dtype=bool, count=len(loads)),
        own_need_v=np.array([np.nan if load.need_v is None else load.need_v for load in loads], dtype=float),
        drop_pct=np.array([load.drop_pct for load in loads], dtype=float),
    )  # fmt: skip


def _uneven(load: Load) -> bool:
    return load.model is not None and any(d.rms_factor > 1 or d.on_s > 0 for d in load.model.draws.values())
