"""A job as a file: nothing is lost, nothing foreign gets in."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinmap.core.errors import FileRejected, InputError
from pinmap.core.model.jobs import Acceptance, Job, LoadCase, Member, Pick, PinFate, Practice, Seat, Signal, Snapshot
from pinmap.core.model.looms import Device, DeviceEnd, Loom, Node, Segment, Zone
from pinmap.core.model.pinouts import Cavity, Connector, ConnectorKey, Edition, Housing, Pin, PinKey, Platform
from pinmap.core.model.words import DeviceKind, Evidence, Fate, Gender, Kind, NodeKind, Role
from pinmap.demo import finished_snapshot
from pinmap.exchange.job_json import dump, load, schema
from tests.factories_looms import big_snapshot

text = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
number = st.floats(0, 1e6)


@st.composite
def snapshots(draw):
    """Small jobs with a value in every kind of field."""
    cavities = draw(st.lists(st.text("AB12", min_size=1, max_size=3), min_size=1, max_size=5, unique=True))
    housing = Housing(
        key="h", name=draw(text), gender=draw(st.sampled_from(Gender)), sealed=draw(st.booleans()),
        cavities=tuple(Cavity(name=c, column=draw(number), row=draw(number)) for c in cavities),
    )  # fmt: skip
    platform = Platform(
        key="p",
        name=draw(text),
        role=draw(st.sampled_from(Role)),
        editions=(Edition(key="e", name=draw(text), from_year=draw(st.none() | st.integers(1900, 2100))),),
        connectors=(Connector(name="C1", housing="h", editions=("e",), note=draw(text)),),
        pins=tuple(
            Pin(
                connector="C1", cavity=c, function=draw(text), kind=draw(st.sampled_from(Kind)),
                current_a=draw(st.none() | number), evidence=draw(st.sampled_from(Evidence)),
                editions=draw(st.sampled_from([(), ("e",)])),
                extra=tuple(draw(st.lists(st.tuples(text, text), max_size=2))),
            )
            for c in cavities
        ),
        nominal_v=draw(number),
    )  # fmt: skip
    keys = [p.key("p") for p in platform.pins]
    device = Device(key="F1", kind=draw(st.sampled_from(DeviceKind)), place="n", rating_a=draw(st.none() | number))
    job = Job(
        key="j",
        name=draw(text),
        seats=(Seat(key="s", name="s", role=Role.HOST, picks=(Pick("p", draw(st.sampled_from(["", "e"]))),)),),
        signals=(
            Signal(
                key="s1", number=1, name=draw(text), inline=("F1",), confirmed=draw(st.booleans()),
                members=(
                    Member(end=keys[0], mm2=draw(st.none() | number)),
                    Member(end=DeviceEnd("F1", "1"), section=1),
                ),
            ),
        ),
        devices=(device,),
        fates=tuple(PinFate(pin=k, fate=draw(st.sampled_from(Fate)), reason=draw(text)) for k in keys[1:]),
        looms=(Loom(key="l", name="l"),),
        nodes=(
            Node(key="n", loom="l", kind=draw(st.sampled_from(NodeKind)), mates=ConnectorKey("p", "C1")),
            Node(key="m", loom="l", kind=NodeKind.PLACE, plugged=draw(st.booleans())),
        ),
        segments=(Segment(key="g", loom="l", a="n", b="m", length_m=draw(number), zone="z"),),
        zones=(Zone(key="z", name="z", ambient_c=draw(number), hot=draw(st.booleans())),),
        load_cases=draw(st.sampled_from([(), (LoadCase(key="x", code="K", name="x", supply_v=12.0),)])),
        practice=Practice(min_mm2=draw(number), stock_mm2=tuple(draw(st.lists(number, max_size=3)))),
        acceptances=(Acceptance(finding="R1", by=draw(text), reason=draw(text)),),
        next_number=2,
    )  # fmt: skip
    return Snapshot(job, (platform,), (housing,))


@given(snapshots())
def test_every_snapshot_comes_back(snapshot):
    back = load(dump(snapshot))
    assert back == snapshot
    assert back.content_hash == snapshot.content_hash
    assert dump(back) == dump(snapshot)


@pytest.mark.parametrize(
    "make", [finished_snapshot, lambda: big_snapshot(5, 12, 4), lambda: Snapshot(Job(key="j", name="J"))]
)
def test_whole_jobs_come_back(make):
    snapshot = make()
    assert load(dump(snapshot)) == snapshot


@pytest.fixture
def plain():
    pin = Pin(connector="C1", cavity="1", current_a=5.0)
    platform = Platform(key="p", name="P", role=Role.HOST, connectors=(Connector(name="C1"),), pins=(pin,))
    signal = Signal(key="s1", number=1, name="S", members=(Member(end=PinKey("p", "C1", "1")),))
    seat = Seat(key="h", name="H", role=Role.HOST, picks=(Pick("p"),))
    job = Job(key="j", name="J", seats=(seat,), signals=(signal,), looms=(Loom(key="l", name="L"),), next_number=2)
    return json.loads(dump(Snapshot(job, (platform,))))


def refused(raw):
    with pytest.raises(FileRejected) as caught:
        load(json.dumps(raw).encode())
    return caught.value


def test_unknown_fields_are_refused_with_their_path(plain):
    plain["job"]["signals"][0]["colr"] = "x"
    plain["platforms"][0]["pins"][0]["amps"] = 3
    plain["job"]["signals"][0]["members"][0]["end"]["row"] = 1
    assert {p.column for p in refused(plain).problems} == {
        "job.signals[0].colr", "platforms[0].pins[0].amps", "job.signals[0].members[0].end.row",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("change", "path"),
    [
        (lambda d: d["platforms"][0]["pins"][0].update(current_a="5"), "platforms[0].pins[0].current_a"),
        (lambda d: d["platforms"][0].update(role="donkey"), "platforms[0].role"),
        (lambda d: d["job"].pop("name"), "job.name"),
        (lambda d: d["job"]["signals"][0].update(number=1.5), "job.signals[0].number"),
        (lambda d: d["job"]["signals"][0]["members"][0]["end"].update(cavity="2"), "job.signals[0].members[0].end"),
        (lambda d: d["job"]["seats"][0]["picks"][0].update(platform="q"), "job.seats[0].picks[0].platform"),
        (lambda d: d["job"]["seats"][0]["picks"][0].update(edition="q"), "job.seats[0].picks[0].edition"),
        (lambda d: d["job"]["seats"][0].update(picks=[]), "job.seats[0].picks"),
        (lambda d: d["job"]["signals"].append(d["job"]["signals"][0] | {"members": []}), "job.signals[1]"),
        (lambda d: d["job"].update(next_number=1), "job.next_number"),
        (lambda d: d["job"]["signals"][0].update(inline=["F9"]), "job.signals[0].inline[0]"),
        (lambda d: d["platforms"].append(d["platforms"][0]), "platforms[1]"),
        (lambda d: d["platforms"][0]["pins"][0].update(editions=["x"]), "platforms[0].pins[0].editions"),
        (lambda d: d["job"].update(nodes=[{"key": "n", "loom": "q", "kind": "junction"}]), "job.nodes[0].loom"),
        (lambda d: d["job"].update(segments=[{"key": "g", "loom": "l", "a": "n", "b": "n", "length_m": 1}]),
         "job.segments[0].a"),
    ],
)  # fmt: skip
def test_bad_values_and_names_of_nothing(plain, change, path):
    change(plain)
    assert path in {p.column for p in refused(plain).problems}


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b"\xff\xfe{", "UTF-8"),
        (b"{", "not JSON: .* line 1"),
        (b"[]", "not a Pinmap job file"),
        (b'{"format": "other"}', "not a Pinmap job file"),
        (b'{"format": "pinmap-job"}', "version is None"),
        (b'{"format": "pinmap-job", "version": 2}', "version 2; this Pinmap reads up to 1"),
        (b'{"format": "pinmap-job", "version": true}', "version is True"),
        (b'{"format": "pinmap-job", "version": 1, "version": 1}', "stands twice"),
        (b'{"format": "pinmap-job", "version": 1, "job": NaN}', "NaN"),
        (b'{"format": "pinmap-job", "version": 1, "job": {"key": "\\ud800", "name": ""}}', "surrogate"),
        (b"[" * 100_000, "nests|not JSON"),
        (b'{"format": "pinmap-job", "version": 1, "job": ' + b"[" * 700 + b"]" * 700 + b"}", "cannot be taken"),
    ],
)
def test_files_that_are_no_job(data, says):
    with pytest.raises(FileRejected, match=says):
        load(data)


def test_text_that_no_file_can_hold():
    with pytest.raises(InputError):
        dump(Snapshot(Job(key="j", name="\ud800")))
    case = LoadCase(key="k", code="K", name="k", supply_v=float("nan"))
    with pytest.raises(InputError):
        dump(Snapshot(Job(key="j", name="n", load_cases=(case,))))


def test_the_schema_says_what_the_reader_holds():
    found = schema()
    assert set(found["required"]) == {"format", "version", "job"}
    assert found["additionalProperties"] is False
    end = found["$defs"]["PinKey"]
    assert end["type"] == "object"
    assert set(end["required"]) == {"platform", "connector", "cavity"}
    assert all(d.get("additionalProperties") is False for d in found["$defs"].values() if d.get("type") == "object")
    json.dumps(found)
