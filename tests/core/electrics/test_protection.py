"""Protection of small feeds, with numbers worked by hand."""

from __future__ import annotations

import pytest

from pinmap.core.electrics.check import check
from pinmap.core.electrics.protection import FeedReport, FuseReport, protection
from pinmap.core.facts.functions import dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import Zone
from pinmap.core.model.words import DeviceKind, Direction, Kind, NodeKind
from tests.factories_looms import JobMaker


def fed(*, mm2: float = 2.5, rating: float | None = 15.0, far_m: float = 2.0, amps: float = 5.0, near_m: float = 0.1,
        second: float | None = None, load: bool = True) -> Snapshot:  # fmt: skip
    """A battery, a fuse (or two in a row), a load at the end of a run."""
    m = JobMaker()
    m.zones = [Zone(key="z", name="Zone", ambient_c=40.0)]
    m.pin("h:B-1", Kind.SUPPLY_30, Direction.OUT)
    m.pin("h:B-2", Kind.GROUND, Direction.OUT)
    m.mate("xh", "h:B")
    m.mate("xd", "d:D")
    m.junction("box", kind=NodeKind.PLACE)
    m.run("xh", "box", near_m, "z")
    m.run("box", "xd", far_m, "z")
    m.device("F1", DeviceKind.FUSE, "box", rating_a=rating)
    inline = ["F1"]
    if second is not None:
        m.device("F2", DeviceKind.FUSE, "box", rating_a=second)
        inline.append("F2")
    if load:
        m.pin("d:D-1", Kind.SUPPLY_30, Direction.IN, amps=amps, component="lamp")
        m.pin("d:D-2", Kind.GROUND, Direction.IN, component="lamp")
        m.signal("h:B-1", ("d:D-1", len(inline)), inline=inline, mm2=mm2)
        m.signal("d:D-2", "h:B-2", mm2=mm2)
    else:
        m.signal("h:B-1", "F1.1", mm2=mm2)
    return m.snapshot()


def reports(snapshot: Snapshot) -> tuple[FeedReport, ...]:
    variant = snapshot.variants[0]
    routing = route(snapshot, variant)
    return protection(snapshot, variant, routing, check(snapshot, variant, routing, dictionary()), dictionary())


def fuse(snapshot: Snapshot, key: str = "F1") -> FuseReport:
    return next(f for feed in reports(snapshot) for f in feed.fuses if f.device == key)


def broken(report: FuseReport) -> set[str]:
    return {x.key for x in report.limits if x.ok is False}


def test_a_sound_feed_is_good() -> None:
    found = fuse(fed())
    assert found.verdict == "good", [(x.key, x.why) for x in found.limits if not x.ok]
    assert found.current_a == pytest.approx(5.0)


def test_a_thin_wire_behind_a_large_fuse_is_stopped() -> None:
    found = fuse(fed(mm2=0.5, rating=40.0))
    assert found.verdict == "stop"
    assert {"rated", "held"} <= broken(found)


def test_short_circuit_current_by_hand() -> None:
    found = fuse(fed())
    short = next(x for x in found.limits if x.key == "short")
    near_a = next(m for m in found.shorts if "strong" in m.label).current_a
    # 14.4 V over battery and return 15 mohm, a contact 5, the near wire 7.6 mohm/m over 0.28 m, the fuse 0.1 V at 15 A
    assert near_a == pytest.approx(14.4 / (0.015 + 0.005 + 0.0076 * 0.28 + 0.1 / 15), rel=0.03)
    assert short.ok
    assert short.value < near_a


def test_a_long_thin_way_does_not_open_its_fuse_in_time() -> None:
    assert "short" in broken(fuse(fed(mm2=0.5, rating=30.0, far_m=6.0)))


def test_load_above_three_quarters_of_the_derated_rating() -> None:
    assert "load" in broken(fuse(fed(amps=11.2)))
    assert "load" not in broken(fuse(fed(amps=10.5)))  # 15 A · 0.75 · 0.979 at 40 °C is 11.0 A


def test_distance_from_the_source() -> None:
    far, near = reports(fed(near_m=0.4))[0].limits[0], reports(fed())[0].limits[0]
    assert far.ok is False
    assert far.value == pytest.approx(0.4)
    assert near.ok


def test_selectivity_needs_bands_apart() -> None:
    assert "selective" in broken(fuse(fed(mm2=6.0, rating=30.0, second=20.0), "F2"))
    assert "selective" not in broken(fuse(fed(mm2=6.0, rating=40.0, second=10.0), "F2"))


def test_an_unrated_fuse_is_not_judged_and_an_empty_one_guards_nothing() -> None:
    assert fuse(fed(rating=None)).verdict == "open"
    assert "nothing" in broken(fuse(fed(load=False)))


def test_breaking_capacity_by_hand() -> None:
    found = fuse(fed())
    breaking = next(x for x in found.limits if x.key == "breaking")
    # 14.4 V over battery and return 15 mohm, a contact 5, the near wire 7.6 mohm/m over 0.28 m; the fuse left out
    assert breaking.value == pytest.approx(14.4 / (0.015 + 0.005 + 0.0076 * 0.28), rel=0.03)
    assert breaking.limit == 1000
    assert breaking.ok
