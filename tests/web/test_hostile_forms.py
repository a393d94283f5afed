"""The hostile corpus on every form that the pages offer: no failure, no live markup, nothing typed lost.

Each form gets its share of the corpus in turn; with ``PINMAP_TEST_HOSTILE=all`` every form gets all of it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager

import pytest
from fastapi.testclient import TestClient

from pinmap.services import dictionary, jobs, pinout_import, platforms
from pinmap.settings import Settings
from pinmap.web.app import create_app
from tests.factories_people import sign_in
from tests.factories_web import DONE, JOB, Form, Visitor
from tests.hostile_corpus import FILES, TEXTS

SHARE = 1 if os.environ.get("PINMAP_TEST_HOSTILE") == "all" else 120
PAGES = (
    "/jobs/new", "/", f"{JOB}/settings", f"{JOB}/decide", f"{JOB}/decide/ledger", f"{JOB}/decide/signals/s001",
    f"{JOB}/decide/devices", f"{JOB}/layout", f"{JOB}/layout/board?run=r1", f"{JOB}/layout/board?node=box",
    f"{JOB}/layout/list", f"{JOB}/layout/looms", f"{JOB}/check", f"{DONE}/handover", f"{DONE}/revisions/A",
    f"{JOB}/bench", f"{JOB}/bench?stage=continuity", "/platforms/new", "/platforms/rig",
    "/platforms/rig/import", "/platforms/rig/connectors/C1", "/platforms/rig/pin?pin=p%2Frig%2FC1%2F4%2F", "/imports/1",
    "/functions", "/functions/own/WINCH", "/people",
)  # fmt: skip
_TYPED = {"text", "search", "number", "date", "textarea"}


@pytest.fixture(scope="module")
def visitor(bench_copy: Callable[[], AbstractContextManager[str]]) -> Iterator[Visitor]:
    """One app for all, so that what one text leaves behind is on the pages that the next one sees."""
    with bench_copy() as url:
        app = create_app(Settings(database_url=url, demo=False, trusted_hosts="testserver"))
        with TestClient(app, raise_server_exceptions=False) as client:
            sign_in(client, app.state.shop)
            yield Visitor(client)
        app.state.shop.close()


def _text_fields(form: Form) -> list[str]:
    kinds = {str(t["name"]): str(t.get("type", "text")) if t.name == "input" else t.name for t in form.controls}
    return [name for name, kind in kinds.items() if kind in _TYPED]


def _forms(visitor: Visitor) -> list[tuple[str, Form]]:
    """Every form with a text field, once, with the page it stands on."""
    found: dict[tuple[str, ...], tuple[str, Form]] = {}
    for page in PAGES:
        visitor.open(page)
        for tag in visitor.page.select("form[method=post]"):
            form = Form(tag, visitor.page)
            if fields := _text_fields(form):
                found.setdefault((form.action, *fields), (page, form))
    return list(found.values())


def _version(visitor: Visitor, action: str) -> str:
    """The version that a form would carry if its page were opened now."""
    _, kind, key, *_ = (*action.split("?")[0].split("/"), "")
    if kind == "jobs":
        return str(jobs.get(visitor.shop, key).version)
    if kind == "platforms":
        return str(platforms.get(visitor.shop, key).version)
    if kind == "imports":
        return str(pinout_import.get(visitor.shop, int(key)).version)
    return str(dictionary.get_own(visitor.shop, "WINCH")[1])


def harmless(visitor: Visitor, what: str) -> None:
    assert visitor.status < 500, f"{what}: {visitor.status} {visitor.text[:600]}"
    for tag in visitor.page.find_all(True):
        live = [a for a in tag.attrs if a.lower().startswith("on") or a == "style" or a == "srcdoc"]
        assert not live, f"{what}: {str(tag)[:200]}"
        address = str(tag.get("href", tag.get("src", tag.get("action", "")))).strip().lower()
        assert not address.startswith(("javascript:", "vbscript:", "data:text")), f"{what}: {address[:100]}"
        assert tag.name not in {"iframe", "object", "embed", "base", "style", "video", "audio", "math"}, what
        assert tag.name != "script" or str(tag.get("src", "")).startswith("/static/"), what


def _kept(visitor: Visitor, text: str) -> bool:
    """Whether a refused text is on the page for its writer, in a field or to be read."""
    plain = " ".join(text.split())
    held = [str(t.get("value", "")) if t.name == "input" else t.get_text() for t in visitor.page(["input", "textarea"])]
    return any(plain == " ".join(h.split()) for h in held) or plain in visitor.text


def test_the_corpus_is_large_and_reaches_every_form(visitor: Visitor) -> None:
    assert len(set(TEXTS)) + len(FILES) >= 300
    assert len(_forms(visitor)) >= 30


def test_texts_in_every_field_of_every_form(visitor: Visitor) -> None:
    sent = refused = 0
    for number, (page, form) in enumerate(_forms(visitor)):
        fields = _text_fields(form)
        buttons = [t for t in form.controls if t.name == "button"]
        for text in TEXTS[number % SHARE :: SHARE]:
            data = form.values() | {name: [text] for name in fields}
            if buttons:
                data[str(buttons[0]["name"])] = [str(buttons[0].get("value", ""))]
            if "version" in data:
                data["version"] = [_version(visitor, form.action)]
            visitor.at = page
            visitor.post(form.action, data)
            what = f"{form.action} with {text[:60]!r}"
            harmless(visitor, what)
            sent += 1
            if visitor.answer.request.method == "POST" and visitor.status in (409, 422):
                refused += 1
                if text.isprintable() and text.strip() and len(text) < 4000 and "passphrase" not in fields:
                    assert _kept(visitor, text), f"{what}: what was typed is lost; {visitor.text[:300]}"
    assert sent >= len(TEXTS) * len(_forms(visitor)) // SHARE // 2
    assert 0 < refused < sent


@pytest.mark.parametrize("address", ["/platforms/rig/import", "/jobs/import", f"{JOB}/layout/list/read"])
def test_files_on_every_upload(visitor: Visitor, address: str) -> None:
    names = ("a.csv", "a.xlsx", "a.json", "../../etc/passwd", "a\r\nb.csv", "<script>alert(1)</script>.csv", "a.svg")
    for number, data in enumerate(FILES):
        for name in names if SHARE == 1 else [names[number % len(names)]]:
            visitor.at = "/"
            visitor.post(address, {}, {"file": (name, data)})
            harmless(visitor, f"{address} {name} file {number}")
    assert visitor.open(JOB).status == 200


def test_what_was_left_behind_is_shown_harmlessly(visitor: Visitor) -> None:
    for page in (
        *PAGES,
        JOB,
        f"{JOB}/build",
        f"{JOB}/build/map",
        f"{JOB}/build/plan",
        f"{JOB}/trace?q=lamp",
        "/platforms",
    ):
        visitor._take(visitor.client.get(page))
        harmless(visitor, page)
