"""The supply of a load case: typed, or a starting profile's."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.crossing import edits
from pinmap.core.electrics.check import check
from pinmap.core.electrics.ladder import ladder
from pinmap.core.electrics.supply_cases import load_cases
from pinmap.core.errors import InputError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from tests.core.electrics.test_heating import job

AMPERES = (("load_model", "amperes"), ("load_value", "5"))


def with_profile(profile: str, phase: str) -> Snapshot:
    snapshot = job(AMPERES)
    return Snapshot(edits.update_load_case(snapshot.job, "cranking", profile=profile, phase=phase), snapshot.platforms)


@pytest.mark.parametrize(
    ("profile", "phase", "volts"),
    [("I", "lowest", 8.0), ("I", "plateau", 9.5), ("II", "lowest", 4.5), ("II", "plateau", 6.5), ("IV", "lowest", 6.0)],
)
def test_the_network_is_solved_with_the_profiles_voltage(profile: str, phase: str, volts: float) -> None:
    snapshot = with_profile(profile, phase)
    variant, words = snapshot.variants[0], Dictionary()
    routing = route(snapshot, variant, words)
    report = check(snapshot, variant, routing, words)
    state = next(s for s in report.loads if s.case == "cranking")
    assert state.voltage_v + state.feed_drop_v + state.return_drop_v == pytest.approx(volts)
    found = ladder(snapshot, variant, routing, report, words, state.load, "cranking")
    assert found.supply_v == pytest.approx(volts)
    assert f"level {profile}" in found.case.source
    assert "ISO 16750-2" in found.case.source


def test_a_level_that_the_nominal_voltage_does_not_have_leaves_the_typed_supply() -> None:
    snapshot = with_profile("IV", "lowest")
    platforms = tuple(replace(p, nominal_v=24.0) for p in snapshot.platforms)
    case = next(c for c in load_cases(Snapshot(snapshot.job, platforms)) if c.code == "C")
    assert case.supply_v == 9.6
    assert "no level IV at 24 V" in case.source


def test_what_makes_no_sense_is_refused() -> None:
    whole = job(AMPERES).job
    for changes, field in (
        ({"profile": "V", "phase": "lowest"}, "profile"),
        ({"profile": "II", "phase": ""}, "phase"),
        ({"profile": "", "phase": "lowest"}, "phase"),
    ):
        with pytest.raises(InputError) as refused:
            edits.update_load_case(whole, "cranking", **changes)
        assert refused.value.field == field
    with pytest.raises(InputError, match="cranking"):
        edits.update_load_case(whole, "idle", profile="I", phase="lowest")


def test_a_component_has_its_own_least_voltage() -> None:
    for extra, needs in (((*AMPERES, ("load_least_v", "10.5")), 10.5), (AMPERES, 0.9 * 13.5)):
        snapshot = job(extra)
        variant, words = snapshot.variants[0], Dictionary()
        report = check(snapshot, variant, route(snapshot, variant, words), words)
        state = next(s for s in report.loads if s.case == "idle")
        assert state.need_v == pytest.approx(needs)
        assert ("own least voltage (typed)" if needs == 10.5 else "ISO 10133, ABYC E-11") in state.need_why
