"""Load cases, the choice of who says what a wire may carry, ground lift and sizing links on screen."""

from __future__ import annotations

import re

from fastapi.testclient import TestClient

JOB = "/jobs/q24-brindle"


def version(client: TestClient) -> str:
    found = re.search(r'name="version" value="(\d+)"', client.get(f"{JOB}/settings").text)
    assert found is not None
    return found[1]


def test_a_starting_profile_is_chosen_and_stated_where_it_is_used(client: TestClient) -> None:
    values = {"case": "cranking", "name": "Cranking", "supply_v": "9.6", "source": "typed", "profile": "I plateau"}
    answer = client.post(f"{JOB}/load-cases", data={**values, "version": version(client)})
    assert answer.status_code == 200
    assert "level I: level after the dip, for 1 s" in client.get(f"{JOB}/settings").text
    wires = client.get(f"{JOB}/check/wires?case=cranking").text
    assert "ISO 16750-2, starting profile, level I" in wires
    assert "9.5" in wires
    refused = client.post(f"{JOB}/load-cases", data={**values, "profile": "V lowest", "version": version(client)})
    assert refused.status_code == 422


def test_a_table_is_chosen_and_both_numbers_stay_in_sight(client: TestClient) -> None:
    page = client.get(f"{JOB}/check/wires").text
    assert "by ISO 10133" in page
    link = re.search(r'href="([^"]*/check/along[^"]*)"', page)
    assert link is not None
    along = client.get(link[1].replace("&amp;", "&")).text
    assert "Heat balance" in along
    assert "ISO 10133" in along
    assert "Inputs, formula, source" in along


def test_ground_lift_is_shown_for_sensors_and_units(client: TestClient) -> None:
    page = client.get(f"{JOB}/check/loads").text
    assert "Ground lift" in page
    assert "sensor&#39;s return" in page or "sensor's return" in page
    assert "Limits, formula, source" in page


def test_a_signals_row_leads_to_its_sizing(client: TestClient) -> None:
    page = client.get(f"{JOB}/decide/signals").text
    link = re.search(r'href="([^"]*/check/sizing\?signal=[^"]*)"', page)
    assert link is not None
    sized = client.get(link[1].replace("&amp;", "&"))
    assert sized.status_code == 200
    assert "What binds, and the next sizes" in sized.text
    assert "of sizing, routing and checking" in sized.text


def test_the_guide_tells_of_every_load_column(client: TestClient) -> None:
    page = client.get("/guide/pinouts").text
    for column in ("load_model", "load_value", "load_on_s", "load_period_s", "load_least_v", "battery_ohm"):
        assert f"<code>{column}</code>" in page
