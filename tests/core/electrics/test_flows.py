"""What single loads send through the wires, against a dense matrix of all points."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from pinmap.core.electrics.components import LEAST_OHM, holds
from pinmap.core.electrics.flows import Flows
from pinmap.core.electrics.network import Network, Solution, build_network, solve
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from tests.factories_electrics import random_job
from tests.factories_looms import big_snapshot

NONE = Dictionary()


def network_of(snapshot: Snapshot) -> Network:
    variant = snapshot.variants[0]
    return build_network(snapshot, variant, route(snapshot, variant, NONE), NONE)


def by_load(network: Network, solution: Solution) -> NDArray[np.float64]:
    """Current in each wire for an ampere of each load that draws one, shape (loads, wires); NaN where a load hangs on
    nothing. Voltages of supplies and battery minus are held, everything that stands closed is a resistance."""
    node, count = solution.node, int(solution.node.max()) + 1
    ground = node[solution.minus_points[0]]
    edges = [(node[a], node[b], 1 / max(ohm, LEAST_OHM)) for a, b, ohm, on in zip(
        network.a, network.b, network.ohm, solution.active, strict=True) if on]  # fmt: skip
    edges += [(node[s.plus], node[s.minus] if s.minus >= 0 else ground, 1 / s.ohm)
              for s, amps in solution.sources if amps]  # fmt: skip
    edges += [(node[r.out], node[r.ground], 1 / r.ohm) for r, _ in solution.references]
    matrix = np.zeros((count, count))
    for p, q, g in edges:
        matrix[p, p] += g
        matrix[q, q] += g
        matrix[p, q] -= g
        matrix[q, p] -= g
    held = [solution.minus_points]
    if network.post < 0 or holds(network.held, solution.case.code):
        held.append(solution.plus_points)
    free = np.setdiff1d(np.arange(count), node[np.concatenate(held)])
    fed = solution.layout.fed
    push = np.zeros((count, fed.size))
    np.add.at(push, (node[network.feed[fed]], np.arange(fed.size)), -1.0)
    np.add.at(push, (node[network.back[fed]], np.arange(fed.size)), 1.0)
    volts = np.zeros((count, fed.size))
    volts[free] = np.linalg.lstsq(matrix[np.ix_(free, free)], push[free], rcond=1e-13)[0]
    astray = np.abs(matrix[np.ix_(free, free)] @ volts[free] - push[free]).max(axis=0, initial=0.0) > 1e-6
    wires = slice(0, network.n_wires)
    amps = (volts[node[network.a[wires]]] - volts[node[network.b[wires]]]) / network.ohm[wires, None]
    amps[:, astray] = np.nan
    return np.asarray(amps.T)


@pytest.mark.parametrize("seed", range(40))
def test_sums_and_squares_are_those_of_a_dense_matrix(seed: int) -> None:
    network = network_of(random_job(seed))
    network.ohm[: network.n_wires] = network.wire_ohm_20 + network.joint_ohm
    rng = np.random.default_rng(seed)
    for case in random_job(seed).job.load_cases:
        solution = solve(network, case, network.wire_ohm_20)
        which = np.arange(solution.layout.fed.size)
        if not which.size:
            continue
        dense = by_load(network, solution)
        known = ~np.isnan(dense).any(axis=1)
        assert np.abs(solution.load_a[~known]).max(initial=0.0) < 1e-6  # on nothing hangs what draws nothing
        found = Flows(network, solution, network.wire_ohm_20, which[known])
        amps, weights = rng.uniform(0, 9, int(known.sum())), rng.uniform(0, 9, int(known.sum()))
        assert found.sums(amps) == pytest.approx(amps @ dense[known], abs=1e-5)
        assert found.squares(weights) == pytest.approx(weights @ dense[known] ** 2, abs=1e-5)


def test_loads_that_share_a_way_back_are_one_in_its_rings() -> None:
    """All drivers of the unit and its 24 grounds in parallel: one right-hand side, however many loads there are."""
    sizes = []
    for blocks in (4, 16):
        snapshot = big_snapshot(blocks, n_sensors=1)
        network = network_of(snapshot)
        case = snapshot.job.load_cases[3]
        solution = solve(network, case, network.wire_ohm_20)
        found = Flows(network, solution, network.wire_ohm_20, np.arange(solution.layout.fed.size))
        sizes.append(found.pairs)
    assert sizes == [1, 1]
