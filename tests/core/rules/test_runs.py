"""Ways of wires, places of splices, two wires in a terminal: silent on the clean job, speaking about a seeded fault."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.model.jobs import Practice, Snapshot
from pinmap.core.model.words import Joint, Kind, Severity
from pinmap.core.rules.finding import Finding
from tests import factories_rules as f
from tests.core.loom.test_stretches import wet_y
from tests.factories_looms import JobMaker
from tests.factories_rules import only


def grounds(joint: Joint, *, sealed: bool) -> Snapshot:
    """The clean job with one more ground of the unit on its ground wire: three ends."""
    job = f.add_pin(f.clean(), "D4-2", "GND_2", Kind.GROUND, f.OUT)
    two = f.grid("two", 2, 1, f.Gender.PIN).cavities
    for half in ("pin", "socket"):
        job = f.change_housing(job, f"g1-{half}", cavities=two, sealed=sealed)
    return f.change_signal(f.join(job, 4, "D4-2"), 4, joint=joint)


def test_r97_twisted_with_nothing() -> None:
    found = only(f.change_signal(f.clean(), 6, twist="rail"), "R97", "signal 6 ", "twist group rail")
    assert "no second signal" in found.why


def test_r97_a_screened_group_led_apart() -> None:
    """Three wires of one sensor run side by side; another sensor's wire in the group leaves them."""
    job = f.clean()
    for number in (5, 6, 7):
        job = f.change_signal(job, number, screen="rail")
    assert "R97" not in f.spoken(job)
    said = f.spoken(f.change_signal(job, 12, screen="rail"))["R97"]
    assert all("j2-xd" in x.where[-1] and x.numbers[0][1] > 0.1 for x in said)


def test_r41_everything_is_wet() -> None:
    zones = tuple(replace(z, wet=True) for z in f.clean().job.zones)
    said = f.spoken(f.change_job(f.clean(), zones=zones))["R41"]
    assert "splice S1.2" in {x.where[0] for x in said}
    assert all("dry" in x.why for x in said)


def test_r96_led_through_a_run_that_no_way_can_take() -> None:
    job = f.change_signal(f.clean(), 12, via=("j1-j2",))
    assert "R98" not in f.spoken(job)
    island = (*job.job.nodes, *(replace(job.node["j1"], key=key) for key in ("n1", "n2")))
    run = replace(job.job.segments[0], key="n1-n2", a="n1", b="n2")
    job = f.change_job(job, nodes=island, segments=(*job.job.segments, run))
    found = f.spoken(f.change_signal(job, 12, via=("n1-n2",)))["R98"]
    assert [x.where for x in found] == [("signal 12 Pump back",)]
    assert "n1-n2" in found[0].why


@pytest.mark.parametrize("joint", [Joint.CHAIN, Joint.CRIMP])
def test_r36_a_chosen_joint_in_a_sealed_cavity(joint: Joint) -> None:
    sealed, opened = f.spoken(grounds(joint, sealed=True)), f.spoken(grounds(joint, sealed=False))
    assert "R30" not in sealed
    assert [x.severity for x in sealed["R36"]] == [Severity.FIX]
    assert "seal" in sealed["R36"][0].why
    assert "R36" not in opened


def test_r34_two_wires_in_one_barrel_count_as_one_of_both_sections() -> None:
    said = f.spoken(grounds(Joint.CRIMP, sealed=False))
    doubled = [x for x in said["R34"] if len(x.where) == 3]
    assert [x.numbers[0][1] for x in doubled] == [5.0]
    assert "too thick" in doubled[0].why


def test_r99_splices_without_room_to_stagger() -> None:
    job, _ = wet_y(1.0, 1.0, unit="wet")

    def said(apart_m: float) -> list[Finding]:
        return list(f.spoken(f.change_job(job, practice=Practice(splice_apart_m=apart_m))).get("R99", ()))

    assert said(0.06) == []  # there is room: they are shifted apart
    assert said(0.0) == []  # not asked for
    (found,) = said(1.2)
    assert found.where == ("segment g1", "splices S1, S2")
    assert found.severity is Severity.NOTE
    assert "share a run of 1000 mm" in found.why


def test_r99_splices_at_one_branch_point_without_room() -> None:
    """Two buses that meet at a branch point whose runs are shorter than a splice."""

    def said(run_m: float) -> list[Finding]:
        m = JobMaker(Practice(splice_clear_m=0.0))
        m.junction("j")
        for side in "hdu":
            m.mate(f"x{side}", f"{side}:C1")
            m.run(f"x{side}", "j", run_m)
        for i in (1, 2):
            m.signal(*(f"{side}:C1-{i}" for side in "hdu"), mm2=1.0)
        return list(f.spoken(m.snapshot()).get("R99", ()))

    assert said(0.5) == []
    (found,) = said(0.03)
    assert found.where == ("branch point J", "splices S1, S2")
    assert "no run around has room" in found.why
