"""The steady current that heats each wire as much as what really flows in it.

A pulsed load (coil, injector, pulse-width output) gives the network its mean current; its ripple heats besides. Ripples
of several loads are unlike in rate and phase, so their squares add up. A load that is on for a while and then off heats
at its hottest by the share of the steady rise that the wire's time constant allows (``transient.pulse_share``); several
such are taken to be on together, the longer ones around the shorter, on the safe side:
I² = sum over pairs |I_a|·|I_b|·min(share_a, share_b), steady loads with share 1.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pinmap.core.electrics.components import LEAST_OHM, Ints, Network, holds
from pinmap.core.electrics.heat import Floats, WireHeat
from pinmap.core.electrics.load_models import Draw
from pinmap.core.electrics.solution import Solution
from pinmap.core.electrics.transient import pulse_share, time_constant_s

_LEAK_S = 1e-9  # keeps what hangs on nothing solvable


def heating_a(
    network: Network, solution: Solution, code: str, wire_ohm: Floats, wires: WireHeat, air_c: Floats
) -> Floats:
    """Heating current of each wire [A] in a solved load case of this letter; ``air_c`` is each wire's hottest air."""
    amps = np.abs(solution.amps[: network.n_wires])
    draws = [load.draw(code) for load in solution.fed]
    uneven = [i for i, d in enumerate(draws) if d is not None and (d.rms_factor > 1 or d.on_s > 0)]
    if not uneven:
        return amps
    drawn = {i: draw for i in uneven if (draw := draws[i]) is not None}
    each = _in_wires(network, solution, code, wire_ohm, uneven) * np.abs(solution.load_a[uneven])[:, None]
    square = _with_pauses(solution.amps[: network.n_wires], each, list(drawn.values()), wires, air_c)
    factor = np.array([d.rms_factor for d in drawn.values()])
    return np.asarray(np.sqrt(square + ((factor**2 - 1)[:, None] * each**2).sum(axis=0)))


def _with_pauses(amps: Floats, each: Floats, draws: Sequence[Draw], wires: WireHeat, air_c: Floats) -> Floats:
    """Square of the heating current with intermittent loads at their share; ripple left out."""
    rhythm: dict[tuple[float, float], Floats] = {}
    for draw, own in zip(draws, each, strict=True):
        if draw.on_s > 0:
            key = (draw.on_s, draw.period_s)
            rhythm[key] = rhythm.get(key, 0.0) + own
    if not rhythm:
        return np.asarray(amps**2)
    steady = amps - sum(rhythm.values())
    parts, shares = [np.abs(steady)], [np.ones(amps.size)]
    for (on_s, period_s), own in rhythm.items():
        tau = time_constant_s(wires, air_c, np.maximum(wires.max_temp_c, air_c + 1), on_s=on_s)
        parts.append(np.abs(own))
        shares.append(pulse_share(np.full(amps.size, on_s), np.full(amps.size, period_s), tau))
    square = np.zeros(amps.size)
    for a, share_a in zip(parts, shares, strict=True):
        for b, share_b in zip(parts, shares, strict=True):
            square += a * b * np.minimum(share_a, share_b)
    return square


def _in_wires(
    network: Network, solution: Solution, code: str, wire_ohm: Floats, which: Sequence[int]
) -> Floats:  # fmt: skip
    """Current in each wire for each ampere that these fed loads draw, by index; shape (loads, wires). Supplies and
    battery minus are held, as they are for any change of current."""
    # imported where it is used: it loads for long, and the app can start without
    from scipy.sparse import coo_array
    from scipy.sparse.linalg import splu

    count = int(solution.node.max()) + 1 if solution.node.size else 0
    a, b = solution.node[network.a], solution.node[network.b]
    used = np.flatnonzero(solution.active & (a != b))
    g = 1 / network.total_ohm(wire_ohm)
    p, q, of = a[used], b[used], g[used]
    for source, flows_a in solution.sources:
        if flows_a:
            p = np.append(p, solution.node[source.plus])
            q = np.append(q, solution.node[source.minus] if source.minus >= 0 else -1)  # -1: battery minus, held
            of = np.append(of, 1 / max(source.ohm, LEAST_OHM))
    for reference, _ in solution.references:
        p, q = np.append(p, solution.node[reference.out]), np.append(q, solution.node[reference.ground])
        of = np.append(of, 1 / reference.ohm)
    held = np.zeros(count + 1, dtype=bool)
    held[-1] = True
    held[solution.node[solution.minus_points]] = True
    if network.post < 0 or holds(network.held, code):
        held[solution.node[solution.plus_points]] = True
    place = np.full(count + 1, -1, dtype=np.int64)
    place[~held] = np.arange(int((~held).sum()))
    rows: list[Ints] = []
    columns: list[Ints] = []
    values: list[Floats] = []
    for i, j, sign in ((p, p, 1.0), (q, q, 1.0), (p, q, -1.0), (q, p, -1.0)):
        inside = (place[i] >= 0) & (place[j] >= 0)
        rows.append(place[i][inside])
        columns.append(place[j][inside])
        values.append(sign * of[inside])
    m = int((~held).sum())
    everywhere = np.arange(m)
    matrix = coo_array(
        (
            np.concatenate([*values, np.full(m, _LEAK_S)]),
            (np.concatenate([*rows, everywhere]), np.concatenate([*columns, everywhere])),
        ),
        shape=(m, m),
    ).tocsc()
    push = np.zeros((m, len(which)))
    for column, index in enumerate(which):
        load = solution.fed[index]
        for point, sign in ((network.feed_of[load.key], -1.0), (network.back_of[load.key], 1.0)):
            spot = int(place[solution.node[point]])
            if spot >= 0:
                push[spot, column] += sign
    volts = np.zeros((count + 1, len(which)))
    if m:
        volts[~held] = splu(matrix).solve(push)
    n = network.n_wires
    flows = np.where(solution.active[:n, None], (volts[a[:n]] - volts[b[:n]]) * g[:n, None], 0.0)
    return np.asarray(flows.T)
