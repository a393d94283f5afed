"""Splices of one segment kept apart: the least shifts, lengths that follow, nothing dearer than it must be."""

import random
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from pinmap.core.loom.bundles import Bundles
from pinmap.core.loom.lengths import parts_of
from pinmap.core.loom.route import route
from pinmap.core.loom.stagger import spread
from pinmap.core.loom.stretches import Stretches
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import Zone
from tests.core.loom.test_stretches import wet_y
from tests.factories_splices import loop_loom


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 100), min_size=2, max_size=7).map(sorted),
    st.integers(1, 20),
)
def test_no_places_so_far_apart_are_nearer(at: list[int], apart: int) -> None:
    """Against the linear programme that asks the same."""
    count = len(at)
    found = spread([float(a) for a in at], float(apart), 0.0, 130.0)
    assert all(two - one >= apart - 1e-9 for one, two in pairwise(found))
    assert found[0] >= -1e-9
    assert found[-1] <= 130.0 + 1e-9
    # Variables: the places, then how far each is from where it was.
    rows, most = [], []
    for i in range(count):
        for sign in (1.0, -1.0):
            row = [0.0] * (2 * count)
            row[i], row[count + i] = sign, -1.0
            rows.append(row)
            most.append(sign * at[i])
    for i in range(count - 1):
        row = [0.0] * (2 * count)
        row[i], row[i + 1] = 1.0, -1.0
        rows.append(row)
        most.append(-float(apart))
    least = linprog(
        [0.0] * count + [1.0] * count, A_ub=rows, b_ub=most, bounds=[(0.0, 130.0)] * count + [(0.0, None)] * count
    )
    assert sum(abs(x - y) for x, y in zip(found, at, strict=True)) == pytest.approx(least.fun, abs=1e-6)


def test_without_room_they_are_spread_evenly() -> None:
    assert spread([0.04, 0.04, 0.04], 0.06, 0.04, 0.1) == pytest.approx([0.04, 0.07, 0.1])


def apart(snapshot: Snapshot, apart_m: float) -> Snapshot:
    practice = replace(snapshot.job.practice, splice_apart_m=apart_m)
    return replace(snapshot, job=replace(snapshot.job, practice=practice))


def test_the_lighter_splice_gives_way_and_its_wires_follow() -> None:
    before, at_once = wet_y(1.0, 2.5, unit="wet")
    snapshot = apart(before, 0.06)
    routing = route(snapshot, snapshot.variants[0])
    places = {s.id: (s.segment, s.at_m) for s in routing.splices}
    assert places == {"S1": ("g1", 0.1), "S2": ("g1", 0.04)}
    assert [s.shift_m for s in routing.splices] == [0.06, 0.0]
    assert routing.stagger_g == pytest.approx(8.89 * 1.0 * 0.06)  # two wires longer, one shorter, 1 mm² each
    was, now = at_once.wire, routing.wire
    assert {w: round(now[w].length_m - was[w].length_m, 6) for w in now} == {
        "1A": -0.06, "1B": 0.06, "1C": 0.06, "2A": 0.0, "2B": 0.0, "2C": 0.0, "3A": 0.0,
    }  # fmt: skip
    for wire in routing.wires:
        assert wire.length_m == pytest.approx(sum(wire.pieces_m))
        assert wire.cut_length_m == parts_of(snapshot.job.practice, wire).cut_m
    assert Bundles.of(snapshot, routing).diameter_mm("g1") < Bundles.of(snapshot, at_once).diameter_mm("g1")
    assert route(snapshot, snapshot.variants[0]) == routing


@pytest.mark.parametrize("seed", range(6))
def test_random_looms_keep_their_splices_apart(seed: int) -> None:
    rng = random.Random(seed)
    snapshot = loop_loom(30, 44, 120, seed=seed)
    zones = (Zone(key="wet", name="Wet", ambient_c=60.0, wet=True),)
    segments = tuple(replace(s, zone="wet") if rng.random() < 0.3 else s for s in snapshot.job.segments)
    practice = replace(snapshot.job.practice, splice_clear_m=0.03)
    plain = replace(snapshot, job=replace(snapshot.job, zones=zones, segments=segments, practice=practice))
    together, snapshot = route(plain, plain.variants[0]), apart(plain, 0.05)
    routing = route(snapshot, snapshot.variants[0])
    found = Stretches(routing, segments, snapshot.job.practice)
    several = 0
    for segment in segments:
        inside = [at_m for at_m, _ in found.at_m(segment.key)]
        if len(inside) < 2:
            continue
        several += 1
        room_m = segment.length_m - 0.06 if segment.length_m > 0.06 else 0.0
        if room_m > (len(inside) - 1) * 0.05 + 0.02:
            assert all(two - one >= 0.05 - 1e-6 for one, two in pairwise(inside))
        assert inside[0] >= 0.02 - 1e-6 or inside[0] == 0.0
    assert several > 3
    assert [w.id for w in routing.wires] == [w.id for w in together.wires]
    for wire in routing.wires:
        assert sum(s.length_m for s in found.along(wire)) == pytest.approx(wire.length_m, abs=1e-5)
        assert all(piece_m >= -1e-9 for piece_m in wire.pieces_m)
