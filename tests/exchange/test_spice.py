"""The network against a circuit solver that knows nothing of it: every node and every wire, fuse and contact."""

from pathlib import Path

import numpy as np
import pytest

from pinmap.core.electrics.network import Network, build_network, solve
from pinmap.core.facts.functions import Dictionary, dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import LoadCase, Snapshot
from pinmap.demo import finished_snapshot
from pinmap.exchange.spice import netlist, node_names
from tests.factories_electrics import random_job
from tests.spice_runs import operating_points

WITHIN = 1e-4  # V and A


def cases_of(snapshot: Snapshot, words: Dictionary) -> list[tuple[Network, LoadCase]]:
    out = []
    for variant in snapshot.variants:
        network = build_network(snapshot, variant, route(snapshot, variant, words), words)
        out += [(network, case) for case in snapshot.job.load_cases]
    return out


def compare(jobs: list[tuple[Network, LoadCase]], folder: Path) -> int:
    answers = operating_points([netlist(n, c) for n, c in jobs], folder)
    seen = 0
    for (network, case), answer in zip(jobs, answers, strict=True):
        found = solve(network, case, network.wire_ohm_20)
        names = node_names(found)
        theirs = np.array([0.0 if name == "0" else answer[name] if name else np.nan for name in names])
        known = np.array([bool(name) for name in names])
        assert np.abs(theirs - found.volts)[known].max(initial=0) < WITHIN
        ohm = network.total_ohm(network.wire_ohm_20)
        plain = found.active & known[network.a] & known[network.b]
        plain[network.diodes] = False
        amps = (theirs[network.a] - theirs[network.b]) / ohm
        assert np.abs(amps - found.amps)[plain].max(initial=0) < WITHIN
        seen += int(known.sum())
    return seen


def test_demo_in_every_variant_and_case(tmp_path: Path) -> None:
    jobs = cases_of(finished_snapshot(), dictionary())
    assert len(jobs) == 20
    assert compare(jobs, tmp_path) > 1000


@pytest.mark.parametrize("chunk", range(4))
def test_random_jobs(chunk: int, tmp_path: Path) -> None:
    jobs = [job for seed in range(50 * chunk, 50 * chunk + 50) for job in cases_of(random_job(seed), Dictionary())]
    assert compare(jobs, tmp_path) > 1000


def test_names_of_the_job_cannot_add_lines() -> None:
    snapshot = random_job(1)
    variant = snapshot.variants[0]
    network = build_network(snapshot, variant, route(snapshot, variant, Dictionary()), Dictionary())
    case = LoadCase(key="x", code="K", name="evil\n.control\nshell true\n.endc", supply_v=12.0)
    text = netlist(network, case)
    assert not any(line.lower().startswith((".control", "shell")) for line in text.splitlines())
