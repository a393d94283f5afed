"""The network against a circuit solver that knows nothing of it: every node and every wire, fuse and contact."""

from pathlib import Path

import numpy as np
import pytest

from pinmap.core.electrics import solution
from pinmap.core.electrics.load_models import MODELS
from pinmap.core.electrics.network import Network, build_network, solve
from pinmap.core.facts.circuit import RELAY_HOLD_SHARE
from pinmap.core.facts.constants import Constant
from pinmap.core.facts.functions import Dictionary, dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import LoadCase, Snapshot
from pinmap.core.model.words import DeviceKind, Kind
from pinmap.demo import finished_snapshot
from pinmap.exchange.spice import netlist, node_names
from tests.factories_electrics import IN, OUT, bench_loom, in_two_looms, random_job, say
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


def test_random_jobs_in_two_looms(tmp_path: Path) -> None:
    """The contacts between the looms are in the netlist, and both solvers see their drops."""
    jobs = [job for seed in range(20) for job in cases_of(in_two_looms(random_job(seed)), Dictionary())]
    between = [sum(name.startswith("contact PC-") for name in network.names) for network, _ in jobs]
    assert sum(between) > 100
    assert compare(jobs, tmp_path) > 1000


def relay_in_a_sag() -> Snapshot:
    """A starter pulls the battery down; a relay that only its coil's voltage holds feeds a load."""
    m = bench_loom()
    m.device("K1", DeviceKind.RELAY, "box", coil_ohm=80.0)
    m.pin("h:C1-1", Kind.SUPPLY_30, OUT, mm2=16.0)
    say(m, "h:C1-1", battery_ohm="0.06")
    m.pin("h:C1-2", Kind.GROUND, OUT, mm2=16.0)
    m.pin("d:C1-1", Kind.HIGH_SIDE, IN, component="starter", mm2=16.0)
    say(m, "d:C1-1", load_model="amperes", load_value="C=90; F=40", load_states="CF")
    m.pin("d:C1-2", Kind.GROUND, IN, component="starter", mm2=16.0)
    m.pin("d:C1-3", Kind.HIGH_SIDE, IN, component="valve", mm2=1.0)
    say(m, "d:C1-3", load_model="ohms", load_value="10", load_states="CF")
    m.pin("d:C1-4", Kind.GROUND, IN, component="valve", mm2=1.0)
    m.signal("h:C1-1", "d:C1-1", "K1.30", "K1.86")
    m.signal("h:C1-2", "d:C1-2", "d:C1-4", "K1.85")
    m.signal("K1.87", "d:C1-3")
    return m.snapshot()


def test_relay_that_drops_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The circuit solver agrees on the coil's voltage while the contact is closed, which is too little to hold, and on
    everything once it is open; on full load it holds."""
    snapshot = relay_in_a_sag()
    variant = snapshot.variants[0]
    network = build_network(snapshot, variant, route(snapshot, variant, Dictionary()), Dictionary())
    crank, full = (c for c in snapshot.job.load_cases if c.code in "CF")
    found = solve(network, crank, network.wire_ohm_20)
    assert found.open_relays == {"K1"}
    assert not found.collapsed
    assert [load.key for load in found.starved] == ["d:valve"]
    assert solve(network, full, network.wire_ohm_20).open_relays == frozenset()
    compare([(network, crank), (network, full)], tmp_path)
    ((relay, coil_v),) = found.weak
    with monkeypatch.context() as context:
        context.setattr(solution, "RELAY_HOLD_SHARE", Constant(0.0, "1", "a contact that nothing opens"))
        closed = solve(network, crank, network.wire_ohm_20)
        compare([(network, crank)], tmp_path)
        answer = operating_points([netlist(network, crank)], tmp_path)[0]
    _, coil, _, _ = network.relays[0]
    names = node_names(closed)
    plus, minus = ({"0": 0.0, **answer}[names[int(end[coil])]] for end in (network.a, network.b))
    assert relay == "K1"
    assert abs(plus - minus) == pytest.approx(coil_v, abs=WITHIN)
    assert coil_v < RELAY_HOLD_SHARE.value * network.nominal_v


def test_random_jobs_have_loads_of_every_kind_that_draw_current() -> None:
    """So that what is compared above leaves out none."""
    drawn: dict[str, int] = {}
    relays = diodes = 0
    for seed in range(200):
        for network, case in cases_of(random_job(seed), Dictionary())[2:4]:  # the engine runs
            found = solve(network, case, network.wire_ohm_20)
            for load, amps in zip(found.fed, found.load_a.tolist(), strict=True):
                name = load.model.name if load.model is not None else "plain"
                drawn[name] = drawn.get(name, 0) + (amps > 1e-3)
            relays += len(network.relays) - len(found.open_relays)
            diodes += network.diodes.size - found.blocking_diodes.size
    assert set(MODELS) | {"plain"} == set(drawn)
    assert min(drawn.values()) > 20
    assert min(relays, diodes) > 20


def test_names_of_the_job_cannot_add_lines() -> None:
    snapshot = random_job(1)
    variant = snapshot.variants[0]
    network = build_network(snapshot, variant, route(snapshot, variant, Dictionary()), Dictionary())
    case = LoadCase(key="x", code="K", name="evil\n.control\nshell true\n.endc", supply_v=12.0)
    text = netlist(network, case)
    assert not any(line.lower().startswith((".control", "shell")) for line in text.splitlines())
