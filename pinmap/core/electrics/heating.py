"""The steady current that heats each wire as much as what really flows in it.

A pulsed load (coil, injector, pulse-width output) gives the network its mean current; its ripple heats besides. Ripples
of several loads are unlike in rate and phase, so their squares add up. A load that is on for a while and then off heats
at its hottest by the share of the steady rise that the wire's time constant allows (``transient.pulse_share``); several
such are taken to be on together, the longer ones around the shorter, on the safe side:
I² = sum over pairs |I_a|·|I_b|·min(share_a, share_b), steady loads with share 1.
"""

from __future__ import annotations

import numpy as np

from pinmap.core.electrics.components import Network
from pinmap.core.electrics.flows import Flows
from pinmap.core.electrics.heat import Floats, WireHeat
from pinmap.core.electrics.solution import Solution
from pinmap.core.electrics.transient import pulse_share, time_constant_s


def heating_a(
    network: Network, solution: Solution, code: str, wire_ohm: Floats, wires: WireHeat, air_c: Floats
) -> Floats:
    """Heating current of each wire [A] in a solved load case of this letter; ``air_c`` is each wire's hottest air."""
    amps = solution.amps[: network.n_wires]
    fed = solution.layout.fed
    maybe = np.flatnonzero(network.load_table.uneven[fed]).tolist()
    drawn = ((i, network.loads[int(fed[i])].draw(code)) for i in maybe)
    uneven = {i: d for i, d in drawn if d is not None and (d.rms_factor > 1 or d.on_s > 0)}
    if not uneven:
        return np.asarray(np.abs(amps))
    which, draws = np.array(list(uneven)), list(uneven.values())
    each_a = np.abs(solution.load_a[which])
    found = Flows(network, solution, wire_ohm, which)
    square = found.squares(each_a**2 * np.array([d.rms_factor**2 - 1 for d in draws]))
    rhythms = {
        key: found.sums(np.where([(d.on_s, d.period_s) == key for d in draws], each_a, 0.0))
        for key in dict.fromkeys((d.on_s, d.period_s) for d in draws if d.on_s > 0)
    }
    return np.asarray(np.sqrt(square + _with_pauses(amps, rhythms, wires, air_c)))


def _with_pauses(
    amps: Floats, rhythms: dict[tuple[float, float], Floats], wires: WireHeat, air_c: Floats
) -> Floats:  # fmt: skip
    """Square of the heating current with intermittent loads at their share, by (seconds on, period); ripple left
    out."""
    if not rhythms:
        return np.asarray(amps**2)
    steady = amps - sum(rhythms.values())
    parts, shares = [np.abs(steady)], [np.ones(amps.size)]
    for (on_s, period_s), own in rhythms.items():
        tau = time_constant_s(wires, air_c, np.maximum(wires.max_temp_c, air_c + 1), on_s=on_s)
        parts.append(np.abs(own))
        shares.append(pulse_share(np.full(amps.size, on_s), np.full(amps.size, period_s), tau))
    square = np.zeros(amps.size)
    for a, share_a in zip(parts, shares, strict=True):
        for b, share_b in zip(parts, shares, strict=True):
            square += a * b * np.minimum(share_a, share_b)
    return square
