"""Hostile text in every field and upload: a clear refusal or a harmless page; never a failure, never live markup."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient

from pinmap.settings import Settings
from pinmap.web.app import create_app
from tests.factories_databases import Prepared
from tests.factories_people import sign_in

TEXTS = [
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    '"><svg onload=alert(1)>',
    "' onfocus='alert(1)' autofocus='",
    "</textarea><script>alert(1)</script>",
    "</title><script>alert(1)</script>",
    "<a href=javascript:alert(1)>x</a>",
    "javascript:alert(1)",
    "<svg><script>alert(1)</script></svg>",
    "<style>*{display:none}</style>",
    "<!--",
    "]]>",
    "{{7*7}}",
    "{% raw %}",
    "${7*7}",
    "#{7*7}",
    "<%= 7*7 %>",
    "#panic(1)",
    '$x$ #read("/etc/passwd")',
    "= Heading",
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(1)",
    "\tcmd",
    '=HYPERLINK("http://evil.example")',
    "../../etc/passwd",
    "..\\..\\windows",
    "/etc/passwd",
    "C:\\x",
    "\\\\host\\share",
    "CON",
    "a/b/c",
    "a%2Fb",
    "?",
    "#",
    "&",
    ";",
    "digraph{a->b}",
    "\\N \\G",
    "a|b{c}<d>",
    "\u202eabc",
    "a\u200bb",
    "\ufeffx",
    "\u0000",
    "a\u0000b",
    "\x1b[31m",
    "\U0001f527 wrench",
    "é" * 300,
    "A" * 5000,
    "名前",
    "' OR 1=1 --",
    '"; DROP TABLE pin; --',
    "%s%s%n",
    "%",
    "null",
    "NaN",
    "inf",
    "-1",
    "1e999",
    "0x10",
    "\r\nSet-Cookie: a=b",
    " ",
    "\n",
]
UPLOADS = [
    b"",
    b"\x00",
    b"\xff\xfe",
    b"\xff" * 50,
    b"PK\x03\x04",
    b"PK\x03\x04" + b"\x00" * 100,
    b"%PDF-1.7",
    b"\x89PNG\r\n",
    b"connector,cavity\n\x00,1\n",
    b"connector,cavity,function\nX,1,=1+1\n",
    b"a" * 1_000_000,
    b",,,,\n" * 1000,
    b'"unclosed',
    b"connector;cavity\n" + b"X;1\n" * 3000,
    "connector,cavity\nX,é\n".encode("latin-1"),
    b"{",
    b"[]",
    b"null",
    b"1",
    b'{"version": 1}',
    b'{"format": "pinmap"}',
    b"[" * 5000,
    b'{"a":' * 2000,
    json.dumps({"version": 10**30, "job": {"key": "../x"}}).encode(),
]


@pytest.fixture(scope="module")
def client(prepared: Prepared) -> Iterator[TestClient]:
    """One app for all, so that what one text leaves behind is on the pages that the next one sees."""
    with prepared.copy("empty", lambda _: None) as url:
        yield from _client(url)


def _client(url: str) -> Iterator[TestClient]:
    app = create_app(Settings(database_url=url, demo=False, trusted_hosts="testserver"))
    with TestClient(app, raise_server_exceptions=False) as found:
        sign_in(found, app.state.shop)
        found.post("/platforms/new", data={"name": "Bench", "role": "donor"})
        found.post("/platforms/new", data={"name": "Rig", "role": "host"})
        for key in ("bench", "rig"):
            text = "connector\tcavity\tfunction\nC\t1\tLeft turn\nC\t2\tStop lamps\nC\t3\tGround\n"
            draft = found.post(f"/platforms/{key}/paste", data={"text": text}, follow_redirects=False).headers[
                "location"
            ]
            assert found.post(f"{draft}/take", data={"version": "1", "how": "all"}).status_code == 200
        made = found.post("/jobs/new", data={"name": "Test", "pick": ["bench|", "rig|"]})
        assert made.status_code == 200
        yield found
    app.state.shop.close()


def harmless(client: TestClient, address: str, answer_text: str | None = None) -> None:
    if answer_text is None:
        answer = client.get(address)
        assert answer.status_code < 500, f"{address}: {answer.text[:400]}"
        answer_text = answer.text
    soup = BeautifulSoup(answer_text, "html.parser")
    assert all(tag.get("src", "").startswith("/static/") for tag in soup.find_all("script")), address
    for tag in soup.find_all(True):
        assert not [a for a in tag.attrs if a.lower().startswith("on")], f"{address}: {tag}"[:300]
        assert not str(tag.get("href", "")).strip().lower().startswith("javascript:"), address
    assert not soup.find_all("style"), address


@pytest.mark.parametrize("text", TEXTS, ids=range(len(TEXTS)))
def test_text_in_every_field(client: TestClient, text: str) -> None:
    """Posts the text into each form; whatever is stored is then looked at on every page that shows it."""
    version = client.get("/jobs/test/job.json")
    assert version.status_code == 200
    posts: list[tuple[str, dict[str, str]]] = [
        ("/platforms/new", {"name": text, "role": "accessory", "editions": text, "note": text}),
        ("/platforms/bench/paste", {"text": f"connector\tcavity\tfunction\n{text}\t9\t{text}\n"}),
        ("/platforms/bench/paste", {"text": text}),
        ("/platforms/bench/connectors", {"version": "1", "name": text, "description": text, "housing": text}),
        ("/platforms/bench/editions", {"version": "1", "key": text, "name": text, "from_year": text}),
        (
            "/functions",
            {"code": text, "name": text, "kind": "unknown", "direction": "in", "synonyms": text, "states": text},
        ),
        ("/jobs/new", {"name": text, "customer": text, "pick": "bench|"}),
        ("/jobs/new", {"name": text, "customer": text, "pick": text}),
        ("/jobs/test/settings", {"version": "1", "name": text, "note": text, "stock_mm2": text, "insulation": text}),
        (
            "/jobs/test/decide/settle",
            {"version": "1", "deed": "settle", "pin": "p/bench/C/1/", "fate": "parked", "reason": text},
        ),
        ("/jobs/test/decide/settle", {"version": text, "deed": text, "pin": text, "fate": text, "reason": text}),
        (
            "/jobs/test/decide/settle",
            {"version": "1", "deed": "settle", "pin": "p/bench/C/1/", "fate": text, "reason": text},
        ),
        ("/jobs/test/decide/take", {"version": "1", "take": text}),
        ("/jobs/test/decide/devices", {"version": "1", "kind": "fuse", "name": text, "rating_a": text}),
        (
            "/jobs/test/decide/signals/s001/members",
            {"version": "1", "deed": "in", "device": f"new:{text}", "value": text},
        ),
        ("/jobs/test/layout/zones", {"version": "1", "name": text, "ambient_c": text}),
        ("/jobs/test/layout/nodes", {"version": "1", "name": text, "kind": text, "at": text, "length_mm": text}),
        ("/jobs/test/layout/place", {"version": "1", "connector": text}),
        ("/jobs/test/check/accept", {"version": "1", "finding": text, "by": text, "reason": text}),
        ("/jobs/test/handover/release", {"version": "1", "author": text, "note": text}),
        ("/jobs/test/handover/share", {"revision": text, "variant": text, "label": text, "days": text}),
        ("/jobs/test/copy", {"name": text}),
    ]
    for address, data in posts:
        answer = client.post(address, data=data)
        assert answer.status_code < 500, f"{address} {data}: {answer.text[:600]}"
        harmless(client, address, answer.text)
    from urllib.parse import quote

    part = quote(text, safe="")
    for address in (
        f"/functions?q={part}",
        f"/jobs/test/trace?q={part}",
        f"/jobs/test/trace?end={part}",
        f"/jobs/test?variant={part}",
        f"/jobs/{part}",
        f"/platforms/{part}",
        f"/s/{part}",
        f"/guide/{part}",
        f"/guide/tables/{part}",
        f"/shelf/{part}",
        f"/jobs/test/build/files/{part}",
        f"/jobs/test/build/{part}",
        f"/shelf/cross?a={part}&b={part}",
    ):
        harmless(client, address)


def test_what_was_stored_is_shown_harmlessly(client: TestClient) -> None:
    pages = [
        "/",
        "/jobs/new",
        "/platforms",
        "/platforms/bench",
        "/functions",
        "/jobs/test",
        "/jobs/test/decide",
        "/jobs/test/decide/ledger",
        "/jobs/test/layout",
        "/jobs/test/check",
        "/jobs/test/build",
        "/jobs/test/settings",
    ]
    listed = BeautifulSoup(client.get("/platforms").text, "html.parser")
    pages += [a["href"] for a in listed.select("tbody a")][:80]
    for address in pages:
        harmless(client, address)


@pytest.mark.parametrize("data", UPLOADS, ids=range(len(UPLOADS)))
def test_uploads(client: TestClient, data: bytes) -> None:
    for name in ("a.csv", "a.xlsx", "../../etc/passwd", "a\r\nb.csv", "<script>.csv"):
        for address in ("/platforms/bench/import", "/jobs/import"):
            answer = client.post(address, files={"file": (name, data)})
            assert answer.status_code < 500, f"{address} {name}: {answer.text[:600]}"
            harmless(client, address, answer.text)
    assert client.get("/jobs/test").status_code == 200
