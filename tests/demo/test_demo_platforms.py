"""The demo's platforms: complete, unambiguous, importable."""

from __future__ import annotations

from importlib import resources

import pytest

from pinmap.core.facts.functions import dictionary
from pinmap.core.facts.parts import terminals
from pinmap.core.model.words import Evidence, Gender
from pinmap.demo import demo_housings, demo_platforms
from pinmap.exchange.headings import guess_headings
from pinmap.exchange.pinout_in import parse_rows, read_table

PLATFORMS = {p.key: p for p in demo_platforms()}
HOUSINGS = {h.key: h for h in demo_housings()}


@pytest.mark.parametrize("platform", PLATFORMS.values(), ids=PLATFORMS)
def test_every_pin_has_a_connector_and_a_cavity_of_its_housing(platform):
    connectors = {c.name: c for c in platform.connectors}
    assert len(connectors) == len(platform.connectors)
    for pin in platform.pins:
        face = HOUSINGS[connectors[pin.connector].housing]
        assert pin.cavity in face.cavity_names, f"{pin.connector}-{pin.cavity}"


@pytest.mark.parametrize("platform", PLATFORMS.values(), ids=PLATFORMS)
def test_no_cavity_has_two_entries_in_one_edition(platform):
    for edition in [e.key for e in platform.editions] or [""]:
        cavities = [(p.connector, p.cavity) for p in platform.pins if p.in_edition(edition)]
        assert len(cavities) == len(set(cavities))


@pytest.mark.parametrize("platform", PLATFORMS.values(), ids=PLATFORMS)
def test_entries_say_how_they_are_known(platform):
    for pin in platform.pins:
        assert pin.function
        assert pin.evidence_ref, f"{pin.connector}-{pin.cavity}"


def test_nearly_all_pins_have_a_function_of_the_dictionary():
    pins = [pin for platform in PLATFORMS.values() for pin in platform.pins]
    known = [pin for pin in pins if pin.function_code in dictionary().by_code]
    assert all(pin in known for pin in pins if pin.function_code)
    assert len(known) >= 0.95 * len(pins)


def test_evidence_is_mixed():
    found = {pin.evidence for platform in PLATFORMS.values() for pin in platform.pins}
    assert found == set(Evidence)


def test_housings_come_in_mating_halves_with_known_terminals():
    for housing in HOUSINGS.values():
        assert housing.terminal in terminals(), housing.key
        halves = [h for h in HOUSINGS.values() if h.family == housing.family]
        assert {h.gender for h in halves} == {Gender.PIN, Gender.SOCKET}
        assert len({h.cavity_names for h in halves}) == 1


def test_faces_of_two_halves_mirror_each_other():
    for housing in HOUSINGS.values():
        if housing.gender is Gender.PIN and len(housing.cavities) > 1:
            other = next(h for h in HOUSINGS.values() if h.family == housing.family and h.gender is Gender.SOCKET)
            width = max(c.column for c in housing.cavities)
            there = {c.name: c for c in other.cavities}
            for cavity in housing.cavities:
                assert (there[cavity.name].column, there[cavity.name].row) == (width - cavity.column, cavity.row)


@pytest.mark.parametrize("platform", PLATFORMS.values(), ids=PLATFORMS)
def test_sample_files_import_as_they_are(platform):
    data = resources.files("pinmap.demo").joinpath("data", f"{platform.key}.csv").read_bytes()
    table = read_table(data, f"{platform.key}.csv")
    draft = parse_rows(table, guess_headings(table.headings).mapping, platform, dictionary(), demo_housings())
    # Columns that are empty in every cell of a file need not come back.
    assert [row.pin for row in draft.rows] == list(platform.pins)
