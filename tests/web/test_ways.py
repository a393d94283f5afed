"""Ways led by hand, joints, kinds of wire in zones: what the pages offer, take and refuse."""

from __future__ import annotations

import re

from fastapi.testclient import TestClient

from pinmap.core.loom.route import route
from pinmap.demo import finished_snapshot

JOB = "/jobs/q24-brindle"


def _spliced() -> str:
    """The page of a signal of the demo that has a splice."""
    snapshot = finished_snapshot()
    return f"{JOB}/decide/signals/{route(snapshot, snapshot.variants[0]).splices[0].signal}"


SIGNAL = _spliced()


def _version(text: str) -> str:
    found = re.search(r'name="version" value="(\d+)"', text)
    assert found is not None
    return found[1]


def _runs(text: str) -> list[str]:
    """Keys of the runs that the signal's wires take."""
    return re.findall(
        r'<th scope="row">([^<]+)</th><td>[^<]* to [^<]*</td><td class="num">.{0,80}?</td><td>yes</td>', text
    )


def test_the_joint_is_chosen_with_its_cost_in_sight(client: TestClient) -> None:
    text = client.get(SIGNAL).text
    for joint in ("splice", "daisy chain", "double crimp"):
        assert f'name="joint" value="{joint}"' in text
    assert 'value="splice" checked' in text
    done = client.post(f"{SIGNAL}/way", data={"version": _version(text), "joint": "daisy chain"}).text
    assert 'value="daisy chain" checked' in done
    refused = client.post(f"{SIGNAL}/way", data={"version": _version(done), "joint": "glue"})
    assert refused.status_code == 422
    assert "daisy chain" in refused.text


def test_a_way_led_by_hand_is_kept_and_an_unknown_run_refused(client: TestClient) -> None:
    text = client.get(SIGNAL).text
    run = _runs(text)[0]
    done = client.post(f"{SIGNAL}/way", data={"version": _version(text), "via": f" {run} ", "joint": "splice"}).text
    assert re.search(rf'name="via"[^>]*value="{re.escape(run)}"', done)
    refused = client.post(
        f"{SIGNAL}/way", data={"version": _version(done), "via": f"{run}, nowhere", "joint": "splice"}
    )
    assert refused.status_code == 422
    assert "nowhere" in refused.text
    gone = client.post(f"{JOB}/layout/segments/{run}", data={"version": _version(done), "deed": "remove"})
    assert gone.status_code == 422, "a run that a signal is led through was lost"
    assert "led through it by hand" in gone.text


def test_a_zone_keeps_kinds_of_wire_out(client: TestClient) -> None:
    text = client.get(f"{JOB}/layout").text
    zone = re.search(r'action="[^"]*/layout/zones/([^"]+)"', text)
    assert zone is not None
    values = {"version": _version(text), "name": "Bay", "ambient_c": "85", "no_splice": "yes"}
    address = f"{JOB}/layout/zones/{zone[1]}"
    done = client.post(address, data={**values, "way": ["avoid:sensor pair", "forbid:ignition", ""]}).text
    assert "none of: ignition; rather not: sensor pair" in done
    refused = client.post(address, data={**values, "version": _version(done), "way": ["forbid:steam"]})
    assert refused.status_code == 422
    assert "kinds of wire are" in refused.text


def test_a_cut_length_unfolds_to_its_parts(client: TestClient) -> None:
    text = client.get(SIGNAL).text
    for words in ("way through the loom", "strip", "cut length"):
        assert f"<td>{words}</td>" in text
