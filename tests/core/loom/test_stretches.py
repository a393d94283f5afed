"""Segments cut at their splices: which wires lie where, how thick it is there."""

import math
import random
from dataclasses import replace

import pytest

from pinmap.core.electrics.surroundings import HeatPlaces, layout_of
from pinmap.core.facts.conductors import wire_size
from pinmap.core.loom.bundles import Bundles
from pinmap.core.loom.packing import bundle_diameter_mm
from pinmap.core.loom.results import Routing
from pinmap.core.loom.route import route
from pinmap.core.loom.stretches import Stretches, splice_length_m
from pinmap.core.model.jobs import Practice, Snapshot
from pinmap.core.model.looms import Zone
from tests.factories_looms import JobMaker
from tests.factories_splices import loop_loom


def wet_y(*sizes: float, unit: str = "") -> tuple[Snapshot, Routing]:
    """Three connectors on a junction that is no place for a splice, since the run to the donor is wet: a net of three
    ends for each size is spliced 40 mm into the host's run or the unit's, whose zone may be named."""
    m = JobMaker(Practice(splice_apart_m=0.0))
    m.zones = [Zone(key="wet", name="Wet", ambient_c=60.0, wet=True)]
    for key, name in (("xh", "h:C1"), ("xd", "d:C1"), ("xu", "u:C1")):
        m.mate(key, name)
    m.junction("j")
    m.run("xh", "j", 1.0)
    m.run("xd", "j", 2.0, "wet")
    m.run("xu", "j", 0.5, unit)
    for i, mm2 in enumerate(sizes, 1):
        for side in "hdu":
            m.pin(f"{side}:C1-{i}", mm2=mm2)
        m.signal(f"h:C1-{i}", f"d:C1-{i}", f"u:C1-{i}", mm2=mm2)
    m.signal("h:C1-90", "u:C1-90", mm2=1.0)
    snapshot = m.snapshot()
    return snapshot, route(snapshot, snapshot.variants[0])


def stretches_of(snapshot: Snapshot, routing: Routing) -> Stretches:
    return Stretches(routing, snapshot.job.segments, snapshot.job.practice)


def test_a_splice_cuts_its_segment() -> None:
    snapshot, routing = wet_y(2.5)
    (splice,) = routing.splices
    assert (splice.segment, splice.at_m) == ("g1", 0.04)
    assert splice.node == "j"
    found = stretches_of(snapshot, routing)
    before, after = found.of("g1")
    assert (before.from_m, before.to_m, after.to_m) == pytest.approx((0.0, 0.96, 1.0))
    assert set(before.wires) == {"1A", "2A"}  # the one wire to the host, and the wire that runs past
    assert set(after.wires) == {"1B", "1C", "2A"}
    assert found.of("g3")[0].length_m == 0.5
    (there,) = found.at_splices("g1")
    assert there.splices == ("S1",)
    assert there.wires == ("2A",)
    assert there.length_m == pytest.approx(splice_length_m(snapshot.job.practice))
    assert found.sides("S1") == (("1A",), ("1B", "1C"))


def test_each_stretch_has_its_own_diameter_and_the_splice_its_bulk() -> None:
    snapshot, routing = wet_y(2.5)
    bundles = Bundles.of(snapshot, routing)
    one, passing = (wire_size(routing.wire[w].mm2, routing.wire[w].insulation).od_mm for w in ("1A", "2A"))
    thin, bulk, thick = bundles.sections("g1")
    assert thin.bundle_mm == pytest.approx(one + passing)
    assert thick.bundle_mm == pytest.approx(bundle_diameter_mm([one, one, passing]))
    # Two insulated wires side by side are thicker than three conductors in one barrel. The sleeve of 9/3 mm over them
    # recovers to 3 mm with a wall of 1.4 mm, 19.35 mm²; stretched over both it keeps that cross-section.
    over = bundles.splice_mm("S1")
    assert math.pi / 4 * (over**2 - (2 * one) ** 2) == pytest.approx(math.pi * (3 + 1.4) * 1.4)
    assert bulk.bundle_mm == pytest.approx(over + passing)
    assert bundles.diameter_mm("g1") == bulk.bundle_mm


def test_splices_beside_each_other_are_judged_together() -> None:
    snapshot, routing = wet_y(1.0, 1.0)
    bundles = Bundles.of(snapshot, routing)
    (there,) = bundles.stretches.at_splices("g1")
    assert set(there.splices) == {"S1", "S2"}
    both = [bundles.splice_mm("S1"), bundles.splice_mm("S2")]
    passing = routing.wire["3A"]
    alone = wire_size(passing.mm2, passing.insulation).od_mm
    assert bundles.diameter_mm("g1") == pytest.approx(bundle_diameter_mm([*both, alone]))


def test_heat_counts_the_wires_of_each_stretch() -> None:
    snapshot, routing = wet_y(2.5)
    places = HeatPlaces.of(snapshot, routing)
    layout = layout_of(snapshot, routing)
    number = {w.id: i for i, w in enumerate(routing.wires)}
    for i, stretch in enumerate(places.stretches):
        assert set(layout.wire[layout.segment == i]) == {number[w] for w in stretch.wires}
        assert layout.length_m[i] == pytest.approx(stretch.length_m)
    thin, thick = (i for i, s in enumerate(places.stretches) if s.segment == "g1")
    assert layout.bundle_m[thin] < layout.bundle_m[thick]


def test_a_wire_is_followed_from_end_to_end() -> None:
    snapshot, routing = wet_y(2.5)
    found = stretches_of(snapshot, routing)
    along = found.along(routing.wire["2A"])
    assert [(s.segment, round(s.from_m, 3)) for s in along] == [("g1", 0.0), ("g1", 0.96), ("g3", 0.0)]
    (own,) = found.along(routing.wire["1A"])
    assert (own.from_m, own.to_m) == pytest.approx((0.0, 0.96))


@pytest.mark.parametrize("seed", range(6))
def test_wires_fill_their_stretches(seed: int) -> None:
    """On random looms with loops: what a wire runs through, stretch by stretch, is its length."""
    rng = random.Random(seed)
    snapshot = loop_loom(30, 44, 90, seed=seed)
    zones = (Zone(key="wet", name="Wet", ambient_c=60.0, wet=True),)
    segments = tuple(replace(s, zone="wet") if rng.random() < 0.3 else s for s in snapshot.job.segments)
    practice = replace(snapshot.job.practice, splice_clear_m=0.03)
    job = replace(snapshot.job, zones=zones, segments=segments, practice=practice)
    snapshot = replace(snapshot, job=job)
    routing = route(snapshot, snapshot.variants[0])
    found = stretches_of(snapshot, routing)
    assert sum(bool(s.segment) for s in routing.splices) > 5
    for wire in routing.wires:
        assert sum(s.length_m for s in found.along(wire)) == pytest.approx(wire.length_m, abs=1e-6)
    for splice in routing.splices:
        if splice.segment:
            back, on = found.sides(splice.id)
            assert {*back, *on} == {w for w in splice.wires if routing.wire[w].segments}
