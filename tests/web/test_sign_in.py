"""Coming in by the web: the first owner, invitations, cookies, other sites, logs."""

from __future__ import annotations

import logging
import re
import socket
import threading
import time
from collections.abc import Iterator
from urllib.parse import urlsplit

import httpx
import pytest
import uvicorn
from argon2 import PasswordHasher
from bs4 import BeautifulSoup
from fastapi import FastAPI, Request
from fastapi.testclient import TestClient

from pinmap.core.model.people import PersonRole
from pinmap.services import passwords, people, sessions
from pinmap.settings import Settings
from pinmap.web.access import address_of, own_path
from pinmap.web.app import create_app
from pinmap.web.logs import redacted
from tests.factories_people import session_of

SECRET = "brindle truck loom"


@pytest.fixture(autouse=True)
def quick_hashes(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    cheap = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
    monkeypatch.setattr(passwords, "_hasher", lambda: cheap)
    passwords._nobodys.cache_clear()
    yield
    passwords._nobodys.cache_clear()


@pytest.fixture
def app(empty_url: str) -> Iterator[FastAPI]:
    """An app with nobody in it yet."""
    made = create_app(Settings(database_url=empty_url, demo=False, trusted_hosts="testserver,127.0.0.1"))
    yield made
    made.state.shop.close()


def browser(app: FastAPI, scheme: str = "http") -> TestClient:
    return TestClient(app, base_url=f"{scheme}://testserver", follow_redirects=False)


def first_owner(app: FastAPI) -> None:
    token = people.first_link(app.state.shop)
    assert token is not None
    people.come_in(app.state.shop, token, SECRET, SECRET, "Ann Owner", "ann")


def typed(**more: str) -> dict[str, str]:
    return {"password": SECRET, "password_again": SECRET} | more


def text(answer: httpx.Response) -> str:
    return " ".join(BeautifulSoup(answer.text, "html.parser").get_text(" ").split())


def test_the_first_owner_comes_in_by_the_link_and_only_once(app: FastAPI) -> None:
    token = people.first_link(app.state.shop)
    client = browser(app)
    assert "no owner yet" in text(client.get("/sign-in"))
    assert client.get(f"/welcome/{token}").status_code == 200
    refused = client.post(f"/welcome/{token}", data=typed(name="Ann <b>", sign_in="a b"))
    assert refused.status_code == 422
    assert 'value="Ann &lt;b&gt;"' in refused.text, "what was typed is gone"
    assert SECRET not in refused.text
    done = client.post(f"/welcome/{token}", data=typed(name="Ann Owner", sign_in="ann"))
    assert done.status_code == 303
    assert client.get("/").status_code == 200
    assert "Ann Owner" in client.get("/people").text
    again = browser(app).post(f"/welcome/{token}", data=typed(name="Eve", sign_in="eve"))
    assert again.status_code == 404
    assert "set-cookie" not in again.headers
    assert "no owner yet" not in text(browser(app).get("/sign-in"))


def test_the_cookie_over_http_and_https(app: FastAPI) -> None:
    first_owner(app)
    plain = browser(app).post("/sign-in", data={"name": "ann", "password": SECRET}).headers["set-cookie"]
    secure = browser(app, "https").post("/sign-in", data={"name": "ann", "password": SECRET}).headers["set-cookie"]
    assert plain.startswith("pinmap=")
    assert secure.startswith("__Host-pinmap=")
    for cookie in (plain, secure):
        parts = {part.strip().lower() for part in cookie.split(";")[1:]}
        assert {"httponly", "samesite=lax", "path=/"} <= parts
        assert not any(part.startswith("domain") for part in parts)
    assert "secure" in secure.lower()
    assert "secure" not in plain.lower()


def test_a_session_over_https_is_none_over_http(app: FastAPI) -> None:
    token = session_of(app.state.shop)
    client = browser(app, "https")
    client.cookies.set("pinmap", token)
    assert client.get("/").status_code == 303, "a cookie that any host may have set was taken over https"
    client.cookies.set("__Host-pinmap", token)
    assert client.get("/").status_code == 200


def test_https_answers_ask_for_https_from_then_on(app: FastAPI) -> None:
    assert "max-age=31536000" in browser(app, "https").get("/sign-in").headers["strict-transport-security"]
    assert "strict-transport-security" not in browser(app).get("/sign-in").headers


def test_signing_in_leads_back_and_out_ends_it(app: FastAPI) -> None:
    first_owner(app)
    client = browser(app)
    led = client.get("/platforms?x=1&y=é").headers["location"]
    assert led.startswith("/sign-in?next=")
    wanted = BeautifulSoup(client.get(led).text, "html.parser").find("input", {"name": "next"})
    assert wanted is not None
    done = client.post("/sign-in", data={"name": "ann", "password": SECRET, "next": wanted["value"]})
    assert done.headers["location"] == "/platforms?x=1&y=%C3%A9"
    assert client.get("/platforms").status_code == 200
    assert client.get("/sign-in?next=/guide").headers["location"] == "/guide"
    kept = client.cookies["pinmap"]
    out = client.post("/sign-out")
    assert 'pinmap=""' in out.headers["set-cookie"]
    client.cookies.set("pinmap", kept)
    assert client.get("/platforms").status_code == 303, "the session outlives signing out"


def test_a_fixed_session_id_is_worth_nothing(app: FastAPI) -> None:
    first_owner(app)
    client = browser(app)
    client.cookies.set("pinmap", "chosen-by-somebody-else")
    done = client.post("/sign-in", data={"name": "ann", "password": SECRET})
    assert "chosen-by-somebody-else" not in done.headers["set-cookie"]
    other = browser(app)
    other.cookies.set("pinmap", "chosen-by-somebody-else")
    assert other.get("/").status_code == 303


def test_a_wrong_password_and_an_unknown_name_look_the_same(app: FastAPI) -> None:
    first_owner(app)
    pages = []
    for name in ("ann", "bob"):
        answer = browser(app).post("/sign-in", data={"name": name, "password": "wrong words here"})
        assert answer.status_code == 422
        assert "set-cookie" not in answer.headers
        pages.append(answer.text.replace(f'value="{name}"', ""))
    assert pages[0] == pages[1]
    assert "do not go together" in pages[0]


def test_too_many_tries_are_told_to_wait(app: FastAPI) -> None:
    first_owner(app)
    client = browser(app)
    codes = [client.post("/sign-in", data={"name": "ann", "password": f"guess {n}"}).status_code for n in range(7)]
    assert codes[:5] == [422] * 5
    last = client.post("/sign-in", data={"name": "ann", "password": SECRET})
    assert last.status_code == 429
    assert int(last.headers["retry-after"]) >= 1
    assert "Wait" in text(last)


def test_an_invitation_and_what_the_owner_can_do_with_people(app: FastAPI) -> None:
    first_owner(app)
    owner = browser(app)
    owner.post("/sign-in", data={"name": "ann", "password": SECRET})
    shown = owner.post("/people/invite", data={"name": "Bert Builder", "sign_in": "bert", "role": "builder"})
    link = re.search(r"http://testserver(/welcome/[\w-]+)", shown.text)
    assert link is not None
    assert link[1] not in owner.get("/people").text, "the link is shown twice"
    taken = owner.post("/people/invite", data={"name": "Other", "sign_in": "BERT", "role": "builder"})
    assert taken.status_code == 422
    assert 'value="BERT"' in taken.text
    bert = browser(app)
    assert bert.post(link[1], data=typed()).status_code == 303
    assert bert.get("/people").status_code == 403
    assert bert.get("/platforms/new").status_code == 200
    person = people.person_called(app.state.shop, "bert")
    give = {"version": str(person.version), "role": "technician"}
    assert owner.post(f"/people/{person.id}/role", data=give).status_code == 303
    assert owner.post(f"/people/{person.id}/role", data=give).status_code == 409
    assert bert.post("/platforms/new", data={"name": "x", "role": "donor"}).status_code == 403
    version = str(person.version + 1)
    assert owner.post(f"/people/{person.id}/disable", data={"version": version}).status_code == 303
    assert bert.get("/").status_code == 303, "an ended person is still in"
    assert bert.post("/sign-in", data={"name": "bert", "password": SECRET}).status_code == 422
    last = owner.post(f"/people/{people.person_called(app.state.shop, 'ann').id}/disable", data={"version": "1"})
    assert last.status_code == 422


def test_own_page(app: FastAPI) -> None:
    first_owner(app)
    here, there = browser(app), browser(app)
    for client, agent in (
        (here, "Mozilla/5.0 (X11; Linux) Firefox/140.0"),
        (there, "Chrome/150 (Android)"),
    ):
        client.post("/sign-in", data={"name": "ann", "password": SECRET}, headers={"user-agent": agent})
    page = here.get("/me").text
    assert "Firefox on Linux" in page
    assert "Chrome on Android" in page
    wrong = here.post("/me/password", data=typed(old_password="not this one"))
    assert wrong.status_code == 422
    assert "not this one" not in wrong.text
    new = "another good loom"
    data = {"old_password": SECRET, "password": new, "password_again": new}
    assert here.post("/me/password", data=data).status_code == 303
    assert there.get("/me").status_code == 303
    assert there.post("/sign-in", data={"name": "ann", "password": new}).status_code == 303
    other = [s for s in sessions_on(here) if s]
    assert here.post("/me/sessions/end", data={"session": other[0]}).status_code == 303
    assert there.get("/me").status_code == 303
    assert here.get("/me").status_code == 200


def sessions_on(client: TestClient) -> list[str]:
    soup = BeautifulSoup(client.get("/me").text, "html.parser")
    return [str(field["value"]) for field in soup.find_all("input", {"name": "session"})]


def test_a_form_sent_after_the_session_ended_is_not_lost(app: FastAPI) -> None:
    note = "a note that took long to write"
    answer = browser(app).post("/platforms/new", data={"name": "Rig", "role": "host", "note": note})
    assert answer.status_code == 401
    assert note in text(answer)
    assert "/sign-in" in answer.text


def test_strangers_send_no_large_bodies(app: FastAPI) -> None:
    client = browser(app)
    assert client.post("/jobs/import", files={"file": ("a.json", b"x" * 70_000)}).status_code == 413
    client.cookies.set("pinmap", session_of(app.state.shop))
    assert client.post("/jobs/import", files={"file": ("a.json", b"x" * 70_000)}).status_code == 422


@pytest.mark.parametrize("path", ["/sign-in", "/sign-out", "/welcome/x", "/people/invite", "/me/password"])
@pytest.mark.parametrize("headers", [{"origin": "http://evil.example"}, {"sec-fetch-site": "cross-site"}])
def test_another_sites_form_is_refused(app: FastAPI, path: str, headers: dict[str, str]) -> None:
    client = browser(app)
    client.cookies.set("pinmap", session_of(app.state.shop))
    answer = client.post(path, data=typed(name="ann"), headers=headers)
    assert answer.status_code == 403
    assert "another site" in answer.text
    assert client.get("/me").status_code == 200, "another site's form signed out"


@pytest.mark.parametrize(
    ("asked", "way"),
    [
        ("/jobs/a?b=c", "/jobs/a?b=c"), ("//evil.example", "/"), ("http://evil.example", "/"), ("/\\evil.example", "/"),
        ("javascript:alert(1)", "/"), ("", "/"), ("/a\r\nset-cookie: x=y", "/"), ("evil", "/"),
        ("/\t/evil.example", "/"),
    ],
)  # fmt: skip
def test_signing_in_leads_to_our_own_pages_only(asked: str, way: str) -> None:
    assert own_path(asked) == way


@pytest.mark.parametrize(
    ("host", "counted"),
    [
        ("203.0.113.9", "203.0.113.9"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("2001:db8:1:2:ffff::", "2001:db8:1:2::/64"),
        ("testclient", "testclient"),
    ],
)
def test_tries_are_counted_by_address_or_network(host: str, counted: str) -> None:
    assert address_of(Request({"type": "http", "client": (host, 1)})) == counted


def test_a_technician_sees_no_buttons_for_what_is_not_theirs(client: TestClient) -> None:
    shop = client.app.state.shop  # type: ignore[attr-defined]  # the app of the fixture
    client.cookies.clear()
    client.cookies.set("pinmap", session_of(shop, PersonRole.TECHNICIAN))
    body = BeautifulSoup(client.get("/jobs/q24-brindle/handover").text, "html.parser").body
    assert body is not None
    assert body["class"] == ["reader"]
    assert not body.find("a", href="/people")


def test_changes_bear_the_name_of_whoever_is_signed_in(client: TestClient) -> None:
    shop = client.app.state.shop  # type: ignore[attr-defined]  # the app of the fixture
    client.cookies.clear()
    client.cookies.set("pinmap", session_of(shop, PersonRole.BUILDER))
    page = client.get("/jobs/q24-brindle/handover").text
    version = re.search(r'name="version" value="(\d+)"', page)
    assert version is not None
    data = {"version": version[1], "author": "Somebody Else", "note": "first"}
    released = client.post("/jobs/q24-brindle/handover/release", data=data).text
    assert "Bert Builder" in released
    assert "Somebody Else" not in released


# --- nothing secret in the logs ---------------------------------------------------------------------------------------


def test_tokens_are_taken_out_of_addresses() -> None:
    said = '127.0.0.1:5 - "GET /s/abc-DEF_123?x=1 HTTP/1.1" 200; POST /welcome/ZZtoken; /jobs/s/build; /signals/s001'
    assert "abc-DEF_123" not in redacted(said)
    assert "ZZtoken" not in redacted(said)
    assert "/signals/s001" in redacted(said)
    assert redacted("/s/abc/files/build.csv") == "/s/…/files/build.csv"


class Kept(logging.Handler):
    """Keeps each line as it would be written."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self.lines: list[str] = []
        self.setFormatter(logging.Formatter("%(message)s"))

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(self.format(record))


def test_a_real_server_logs_no_token_and_no_password(app: FastAPI) -> None:
    """The server's own logs and ours at their most talkative, and each statement that the database executes."""
    kept = Kept()
    names = {"uvicorn.access": 10, "uvicorn.error": 10, "pinmap": 10, "sqlalchemy.engine": logging.INFO}
    first = people.first_link(app.state.shop)

    listener = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_level="debug", access_log=True, log_config=None))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    before = {name: logging.getLogger(name).level for name in names}
    for name, level in names.items():
        logging.getLogger(name).addHandler(kept)
        logging.getLogger(name).setLevel(level)
    try:
        thread.start()
        deadline = time.monotonic() + 30
        while not server.started:
            assert time.monotonic() < deadline
            time.sleep(0.02)
        with httpx.Client(base_url=f"http://127.0.0.1:{listener.getsockname()[1]}", timeout=60) as client:
            client.get(f"/welcome/{first}")
            client.post(f"/welcome/{first}", data=typed(name="Ann", sign_in="ann"))
            cookie = client.cookies["pinmap"]
            client.get("/s/a-share-token")
            client.post("/s/a-share-token", data={"passphrase": "open sesame please"})
            client.post("/sign-in", data={"name": "ann", "password": "a wrong password"})
            client.post("/sign-in", data={"name": "ann", "password": SECRET})
    finally:
        server.should_exit = True
        thread.join(10)
        for name in names:
            logging.getLogger(name).removeHandler(kept)
            logging.getLogger(name).setLevel(before[name])
    said = "\n".join(kept.lines)
    assert "/welcome/…" in said, "the access log was not looked at"
    assert "INSERT INTO person" in said, "the database's log was not looked at"
    assert "/s/…" in said
    for secret in (str(first), cookie, "a-share-token", "open sesame please", "a wrong password", SECRET, "$argon2id$"):
        assert secret not in said


def test_a_failure_is_logged_without_the_token(
    app: FastAPI, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object) -> None:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr("pinmap.web.routers.sign_in.people.look_at", fails)
    client = TestClient(app, raise_server_exceptions=False)
    assert client.get("/welcome/a-secret-token").status_code == 500
    assert "request failed: GET /welcome/…" in caplog.text
    assert "a-secret-token" not in caplog.text


def test_database_errors_do_not_tell_what_was_written(app: FastAPI) -> None:
    import sqlalchemy as sa

    shop = app.state.shop
    with pytest.raises(sa.exc.DBAPIError) as failed, shop.write() as session:
        session.execute(sa.text("INSERT INTO nowhere VALUES (:secret)"), {"secret": SECRET})
    assert SECRET not in str(failed.value)


def test_links_are_made_for_the_address_that_the_page_was_asked_at(app: FastAPI) -> None:
    client = browser(app, "https")
    client.cookies.set("__Host-pinmap", session_of(app.state.shop))
    shown = client.post("/people/invite", data={"name": "Bert", "sign_in": "bert", "role": "builder"})
    found = re.search(r"https://testserver/welcome/[\w-]+", shown.text)
    assert found is not None
    assert urlsplit(found[0]).scheme == "https"


def test_a_session_in_two_processes(app: FastAPI, empty_url: str) -> None:
    """What one process ends, the other refuses at its next request."""
    other = create_app(Settings(database_url=empty_url, demo=False, trusted_hosts="testserver"))
    token = session_of(app.state.shop)
    one, two = browser(app), browser(other)
    for client in (one, two):
        client.cookies.set("pinmap", token)
        assert client.get("/me").status_code == 200
    me = sessions.find(app.state.shop, token)
    assert me is not None
    one.post("/sign-out")
    assert two.get("/me").status_code == 303
    other.state.shop.close()
