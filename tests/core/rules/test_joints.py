"""Joints: silent on the clean job, speaking about one seeded fault, and each limit in its case."""

from __future__ import annotations

import pytest

from pinmap.core.electrics.check import check
from pinmap.core.electrics.joints import Joint, joint_states, limit_of
from pinmap.core.facts.functions import dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.words import Severity
from tests import factories_rules as f
from tests.factories_rules import only


def test_r53_a_worn_relay_contact_is_named_with_its_numbers() -> None:
    job = f.change_device(f.clean(), "K1", resistance_ohm=0.08)
    found = only(job, "R53", "K1", "case")
    assert found.severity is Severity.FIX
    assert "device:K1" in found.refs
    (what, drop_v, limit_v, unit), (_, amps, _, _) = found.numbers
    assert (what, limit_v, unit) == ("lost in the joint", 0.3, "V")
    assert drop_v == pytest.approx(amps * 0.08, rel=1e-6)
    assert drop_v > 0.3
    working = found.working("lost in the joint")
    assert working is not None
    assert working.formula == "U = I · R"
    assert ("resistance", "80 mΩ (typed at the device)") in working.inputs


def test_r53_not_just_below_its_limit() -> None:
    job = f.change_device(f.clean(), "K1", resistance_ohm=0.04)
    assert "R53" not in f.spoken(job)


@pytest.mark.parametrize(
    ("kind", "mm2", "code", "limit_v"),
    [("contact", 2.5, "F", 0.1), ("splice", 0.75, "F", 0.05), ("ring", 6.0, "I", 0.1), ("switch", 0.5, "F", 0.3),
     ("contact", 0.5, "C", 0.5)],
)  # fmt: skip
def test_each_joint_has_the_limit_of_its_kind_and_case(kind: str, mm2: float, code: str, limit_v: float) -> None:
    case = next(c for c in f.clean().job.load_cases if c.code == code)
    joint = Joint(label="x", kind=kind, refs=(), ohm=0.005, ohm_from="", mm2=mm2)
    assert limit_of(joint, case).value == limit_v


def test_every_kind_of_joint_is_looked_at_and_a_ring_or_crimp_takes_its_current() -> None:
    job = f.clean()
    variant = job.variants[0]
    routing = route(job, variant, dictionary())
    states = list(joint_states(job, variant, routing, check(job, variant, routing, dictionary())))
    assert {s.joint.kind for s in states} >= {"contact", "splice", "switch"}
    for s in states:
        assert s.drop_v == pytest.approx(s.current_a * s.joint.ohm, rel=1e-4), s.joint.label
