"""Pages of protection, ladder, temperature and sizing on the demo."""

from __future__ import annotations

import re

from fastapi.testclient import TestClient

JOB = "/jobs/q24-brindle"


def test_protection_names_every_fuse_with_a_chart(client: TestClient) -> None:
    text = client.get(f"{JOB}/check/protection").text
    for fuse in ("F1 Main relay", "F9 Fuel pump", "FL3 Glow module"):
        assert fuse in text
    assert text.count("<svg") >= 16
    assert "Inputs, formula, source" in text
    assert ">stop<" not in text, "the finished demo has a fuse that does not protect"


def test_a_load_leads_to_its_ladder_and_a_wire_to_its_temperature(client: TestClient) -> None:
    loads = client.get(f"{JOB}/check/loads").text
    found = re.search(r'href="([^"]*/check/ladder[^"]*)"', loads)
    assert found is not None
    page = client.get(found[1].replace("&amp;", "&"))
    assert page.status_code == 200
    assert "lost in all" in page.text
    wires = client.get(f"{JOB}/check/wires").text
    found = re.search(r'href="([^"]*/check/along[^"]*)"', wires)
    assert found is not None
    page = client.get(found[1].replace("&amp;", "&"))
    assert page.status_code == 200
    assert "along the wire" in page.text


def test_unknown_load_and_wire_are_not_found(client: TestClient) -> None:
    assert client.get(f"{JOB}/check/ladder?load=nothing").status_code == 404
    assert client.get(f"{JOB}/check/along?wire=999Z").status_code == 404
    assert client.get(f"{JOB}/check/sizing?feed=nothing").status_code in {400, 422}


def test_a_signals_sizes_are_proposed_confirmed_and_set(client: TestClient) -> None:
    signal = re.search(
        r'<option value="([^"]+)">\d+ Fuel pump feed</option>', client.get(f"{JOB}/check/sizing?signal=s001").text
    )
    assert signal is not None
    page = client.get(f"{JOB}/check/sizing?signal={signal[1]}").text
    version = re.search(r'name="version" value="(\d+)"', page)
    rows = re.findall(r'<tr class="warn"><th scope="row">([^<]+)</th>', page)
    assert rows
    assert version is not None
    stamp, asked = (re.search(rf'name="{name}" value="(\w+)"', page) for name in ("stamp", "asked"))
    assert stamp is not None
    assert asked is not None
    data = {"version": version[1], "asked": asked[1], "stamp": stamp[1]}
    other = client.post(f"{JOB}/check/sizing", data=data | {"stamp": "another"})
    assert other.status_code == 422, "a proposal that was not shown is not set"
    done = client.post(f"{JOB}/check/sizing", data=data)
    assert done.status_code == 200
    assert "The proposed sizes are in the job" in done.text
    again = client.get(f"{JOB}/check/sizing?signal={signal[1]}").text
    assert '<tr class="warn">' not in again, "sizing a sized signal finds something to change"
