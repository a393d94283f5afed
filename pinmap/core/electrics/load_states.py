"""What reaches the loads and the driven relay coils of a solved load case."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from pinmap.core.electrics.components import Floats, Ints, Network
from pinmap.core.electrics.load_table import NO_LAW
from pinmap.core.electrics.results import LoadState
from pinmap.core.facts.constants import RELAY_PULL_IN_SHARE
from pinmap.core.model.jobs import LoadCase

if TYPE_CHECKING:
    from pinmap.core.electrics.solution import Solution


@dataclass(frozen=True)
class Reached:
    """One case by column: each load that draws a known current, by its ``place`` among the network's loads, then each
    driven coil, by that of its relay. ``feed`` and ``back`` are points; ``plus_v`` and ``minus_v`` their volts,
    ``fed_v`` what the feed starts from over ``base_v``, what the return leads to; ``need_v`` the least that must lie
    between them."""

    network: Network
    case: LoadCase
    nominal_v: float
    loads: int
    place: Ints
    feed: Ints
    back: Ints
    current_a: Floats
    plus_v: Floats
    minus_v: Floats
    fed_v: Floats
    base_v: Floats
    need_v: Floats

    @staticmethod
    def of(network: Network, solution: Solution, case: LoadCase, nominal_v: float) -> Reached:
        """Needs are the load's own (see ``Load.need``); a coil must get its pull-in voltage."""
        layout, table, volts = solution.layout, network.load_table, solution.volts
        known = layout.draws.law[layout.fed] != NO_LAW
        fed = layout.fed[known]
        closed = np.array([i for i, r in enumerate(network.relays) if r[0] not in solution.open_relays], dtype=np.int64)
        coil = network.coils[closed]
        turned = volts[network.a[coil]] < volts[network.b[coil]]
        feed = np.concatenate([network.feed[fed], np.where(turned, network.b[coil], network.a[coil])])
        back = np.concatenate([network.back[fed], np.where(turned, network.a[coil], network.b[coil])])
        base = network.base[fed]
        pull_in_v = RELAY_PULL_IN_SHARE.value * nominal_v
        return Reached(
            network=network, case=case, nominal_v=nominal_v, loads=fed.size, place=np.concatenate([fed, closed]),
            feed=feed, back=back, plus_v=volts[feed], minus_v=volts[back],
            current_a=np.concatenate([solution.load_a[known], np.abs(solution.amps[coil])]),
            fed_v=np.concatenate([table.fed_v(case.supply_v)[fed], np.full(coil.size, case.supply_v)]),
            base_v=np.concatenate([np.where(base >= 0, volts[base], 0.0), np.zeros(coil.size)]),
            need_v=np.concatenate([table.need_v(case.supply_v)[fed], np.full(coil.size, pull_in_v)]),
        )  # fmt: skip

    def __len__(self) -> int:
        return self.place.size

    def name(self, i: int) -> str:
        place = int(self.place[i])
        return self.network.loads[place].key if i < self.loads else f"{self.network.relays[place][0]} coil"

    def state(self, i: int) -> LoadState:
        """One of them as a record."""
        plus_v, minus_v, amps = float(self.plus_v[i]), float(self.minus_v[i]), float(self.current_a[i])
        reached = partial(
            LoadState, load=self.name(i), case=self.case.key, feed=self.network.points[self.feed[i]],
            back=self.network.points[self.back[i]], current_a=amps, voltage_v=plus_v - minus_v,
            feed_drop_v=float(self.fed_v[i] + self.base_v[i]) - plus_v, return_drop_v=minus_v - float(self.base_v[i]),
            need_v=float(self.need_v[i]),
        )  # fmt: skip
        load = self.network.loads[self.place[i]] if i < self.loads else None
        draw = None if load is None else load.draw(self.case.code)
        if load is None or draw is None:
            share = RELAY_PULL_IN_SHARE
            return reached(need_why=f"pull-in at {100 * share.value:g} % of {self.nominal_v:g} V ({share.source})")
        return reached(
            need_why=load.need(self.case.supply_v)[1], origin=load.origin,
            model="" if load.model is None else load.model.name, formula=draw.formula,
            rms_a=None if draw.rms_factor == 1 else amps * draw.rms_factor,
            inrush_a=load.inrush_a, inrush_s=load.inrush_s, inrush_from=load.inrush_from,
        )  # fmt: skip
