"""The hostile corpus on every form that the pages offer: no failure, no live markup, nothing typed lost.

Each form gets its share of the corpus in turn. With ``PINMAP_TEST_HOSTILE=all`` every text goes into every text field
of every form: into all fields at once with each button, and alone into one field, by turns, beside what would do. With
``PINMAP_TEST_HOSTILE=each`` every text goes alone into each field as well."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, ExitStack
from functools import partial
from html import unescape
from urllib.parse import urldefrag, urlencode, urljoin, urlsplit

import pytest
from fastapi.testclient import TestClient

from pinmap.settings import Settings
from pinmap.web.app import create_app
from tests.factories_people import sign_in
from tests.factories_web import DONE, JOB, Form, Visitor
from tests.hostile_corpus import FILES, TEXTS
from tests.hostile_forms import (
    FORMS,
    REMOVES,
    SEARCHES,
    WITHOUT_TEXT,
    Stand,
    files_of,
    forms_at,
    is_same,
    kind_of,
    likely,
    presses,
    route_of,
    routes_of,
    searches_at,
    secret_fields,
    text_fields,
)
from tests.hostile_page import Seen

EACH = os.environ.get("PINMAP_TEST_HOSTILE") == "each"
ALL = EACH or os.environ.get("PINMAP_TEST_HOSTILE") == "all"
SHARE = 1 if ALL else 160
RENEWED_AFTER = 30  # forms taken, so that pages do not grow beyond what a shop has
PAGES = list(dict.fromkeys(stand.page for stands in FORMS.values() for stand in stands if stand.page))
UPLOADS = {
    "/platforms/rig/import": "file",
    "/jobs/import": "file",
    f"{JOB}/layout/list/read": "file",
    "/shop/mark": "mark",
}
Copies = Callable[[], AbstractContextManager[str]]


class Shops:
    """The app on a database that may be written full, and who stands before a form there."""

    def __init__(self, bench: Copies, empty: Copies) -> None:
        self._bench, self._empty = bench, empty
        self._ended = ExitStack()
        self._visitor: Visitor | None = None

    def close(self) -> None:
        self._visitor = None
        self._ended.close()

    def visit(self, stand: Stand, *, anew: bool) -> tuple[Visitor, str]:
        """Somebody before a form and the address of its page; on a new database, or on the one that is there where the
        form needs nothing of its own."""
        visitor = self._visitor
        if anew or visitor is None or stand.before:
            visitor = self._begin(stand)
        page = (stand.before(visitor) if stand.before else None) or stand.page
        visitor.client.cookies.clear()
        if stand.by:
            sign_in(visitor.client, visitor.shop, stand.by)
        look(visitor, stand, page)
        return visitor, page

    def _begin(self, stand: Stand) -> Visitor:
        self.close()
        url = self._ended.enter_context(self._empty() if stand.empty else self._bench())
        app = create_app(Settings(database_url=url, demo=False, trusted_hosts="testserver"))
        self._ended.callback(app.state.shop.close)
        visitor = Visitor(self._ended.enter_context(TestClient(app, raise_server_exceptions=False)))
        self._visitor = None if stand.before else visitor
        return visitor


def look(visitor: Visitor, stand: Stand, page: str) -> None:
    """Opens a page on which a form stands."""
    visitor._take(visitor.client.get(page))
    if stand.then and visitor.status == 200:
        visitor.send(*stand.then)


@pytest.fixture(scope="module")
def shops(bench_copy: Copies, empty_copy: Copies) -> Iterator[Shops]:
    made = Shops(bench_copy, empty_copy)
    yield made
    made.close()


def _routes(method: str) -> dict[str, re.Pattern[str]]:
    app = create_app(Settings(database_url="sqlite://", demo=False))
    app.state.shop.close()
    return routes_of(app, method)


ROUTES = _routes("POST")


def harmless(visitor: Visitor, what: str) -> Seen:
    assert visitor.status < 500, f"{what}: {visitor.status} {visitor.answer.text[:2000]}"
    headers = visitor.answer.headers
    assert headers["x-content-type-options"] == "nosniff", what
    html = headers["content-type"].startswith("text/html")
    seen = Seen(visitor.answer.text if html else "")
    assert not seen.faults, f"{what}: {seen.faults[:5]}"
    return seen


def _look_around(visitor: Visitor, what: str) -> None:
    """What was left behind is shown harmlessly to the shop."""
    sign_in(visitor.client, visitor.shop)
    pages = ("/", JOB, "/platforms", "/audit", "/shelf", f"{JOB}/trace?q=lamp", f"{JOB}/job.json")
    built = (f"{JOB}/build{part}" for part in ("", "/map", "/plan", "/faces", "/cut", "/table"))
    for page in (*PAGES, *pages, *built):
        visitor._take(visitor.client.get(page))
        harmless(visitor, f"{page} after {what}")


class Desk:
    """One form, again and again as somebody would send it: from its page as it is now, on a new database when the form
    is not there any more."""

    def __init__(self, shops: Shops, route: str, stand: Stand, form: Form) -> None:
        self.shops, self.route, self.stand, self.form = shops, route, stand, form
        self.sent = self.refused = self.renewed = 0
        self.begin(anew=ALL)

    def begin(self, *, anew: bool = True) -> None:
        self.visitor, self.page = self.shops.visit(self.stand, anew=anew)
        self.taken = 0
        self._find(lambda form: kind_of(form) == kind_of(self.form))
        assert self.stands or not anew, f"{self.route} stands no longer at {self.page}"

    def _find(self, wanted: Callable[[Form], bool]) -> None:
        found = [form for _, form in forms_at(self.visitor, ROUTES, self.route) if wanted(form)]
        self.form, self.stands = found[0] if found else self.form, bool(found)

    def _open_again(self) -> None:
        if self.taken >= RENEWED_AFTER:
            self.renewed += 1
            if self.renewed % 3 == 0:
                _look_around(self.visitor, f"{self.taken} times {self.route}")
            self.stands = False
            return
        landed = self.visitor.at.partition("?")[0] == self.page.partition("?")[0]
        if landed and not self.stand.then:
            self._find(partial(is_same, self.form))
            if self.stands:
                return
        look(self.visitor, self.stand, self.page)
        self._find(partial(is_same, self.form))

    def send(self, press: tuple[str, str], typed: dict[str, str]) -> bool:
        """Whether the form was taken."""
        if not self.stands:
            self.begin()
        data = likely(self.form, self.route, press) | {name: [text] for name, text in typed.items()}
        self.visitor.at = self.page
        self.visitor.post(self.form.action, data, files_of(self.form))
        if self.visitor.status == 429:  # too many vain tries: what is said of the next one is asked elsewhere
            self.stands = False
            return self.send(press, typed)
        text = next(iter(typed.values()), "")
        what = f"{self.route} {press[1]} with {text[:60]!r} in {', '.join(typed) or 'nothing'}"
        seen = harmless(self.visitor, what)
        self.sent += 1
        if self.visitor.status == 200:
            self.taken += 1
            self._open_again()
            return True
        too_large = self.visitor.status == 413 and len(text) * len(typed) > 60_000 and self.stand.by is None
        wrong = self.visitor.status == 403 and self.route == "/s/{token}"
        assert self.visitor.status in (409, 422) or too_large or wrong, f"{what}: {self.visitor.status} {seen.read}"
        self.refused += 1
        shown = typed.keys() - secret_fields(self.form) - {"passphrase"}
        if shown and text.strip() and not _CONTROL.search(text) and not too_large:
            assert seen.holds(text), f"{what}: what was typed is lost; {seen.read[:600]}"
        return False


_LONGEST_ADDRESS = 60_000  # the test's own browser refuses longer ones
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")  # no page can hold these


def _desks(shops: Shops, route: str) -> Iterator[Desk]:
    """One for each kind of form of the route."""
    kinds: dict[tuple[object, ...], tuple[Stand, Form]] = {}
    for stand in FORMS[route]:
        for anew in (False, True):
            found = [form for _, form in forms_at(shops.visit(stand, anew=anew or ALL)[0], ROUTES, route)]
            for form in found:
                kinds.setdefault(kind_of(form), (stand, form))
            if found:
                break
        else:
            raise AssertionError(f"no form of {route} with a text field stands at {stand}")
    for stand, form in kinds.values():
        yield Desk(shops, route, stand, form)


def _taken(desk: Desk, press: tuple[str, str]) -> bool:
    """Whether the form is taken as a person would fill it in; if not, whether it is on a new database."""
    if desk.send(press, {}):
        return True
    desk.begin()
    return desk.send(press, {})


@pytest.mark.parametrize("route", FORMS)
def test_texts_in_every_field_of_every_form(
    shops: Shops, route: str, record_property: Callable[[str, object], None]
) -> None:
    number = list(FORMS).index(route)
    for desk in _desks(shops, route):
        fields, buttons = text_fields(desk.form), presses(desk.form)
        writing = [press for press in buttons if press[1] not in REMOVES]
        for press in writing:
            assert _taken(desk, press), f"{route} {press}: {Seen(desk.visitor.answer.text).read[:1500]}"
        for turn, text in enumerate(TEXTS[number % SHARE :: SHARE]):
            for press in buttons if ALL and turn % 8 == 0 else writing:
                desk.send(press, dict.fromkeys(fields, text))
            if len(fields) > 1:
                for name in fields if EACH else [fields[turn % len(fields)]]:
                    desk.send(writing[turn % len(writing)], {name: text})
        if ALL:
            _look_around(desk.visitor, route)
        assert desk.sent >= len(TEXTS) // SHARE
        record_property(f"sent, refused: {', '.join(fields)}", f"{desk.sent}, {desk.refused}")


@pytest.mark.parametrize("page", SEARCHES)
def test_texts_in_every_search(shops: Shops, page: str) -> None:
    visitor, _ = shops.visit(Stand(page), anew=False)
    (form,) = [f for f in searches_at(visitor) if f.action in ("", page)]
    for text in TEXTS[SEARCHES.index(page) % SHARE :: SHARE]:
        for names in (text_fields(form), *([name] for name in text_fields(form))):
            asked = form.values() | dict.fromkeys(names, text)
            if len(urlencode(asked, doseq=True)) > _LONGEST_ADDRESS:
                continue
            visitor._take(visitor.client.get(page, params=asked))
            seen = harmless(visitor, f"{page} with {text[:60]!r} in {names}")
            assert visitor.status in (200, 404, 422), f"{page} with {text[:60]!r} in {names}: {visitor.status}"
            if visitor.status != 404 and text.strip() and not _CONTROL.search(text):
                assert seen.holds(text), f"{page} with {text[:60]!r} in {names}: what was typed is lost"


@pytest.mark.parametrize("address", UPLOADS)
def test_files_on_every_upload(shops: Shops, address: str) -> None:
    visitor, _ = shops.visit(Stand("/"), anew=False)
    names = ("a.csv", "a.xlsx", "a.json", "../../etc/passwd", "a\r\nb.csv", "<script>alert(1)</script>.csv", "a.svg")
    for number, data in enumerate(FILES):
        for name in names if ALL else [names[number % len(names)]]:
            visitor.at = "/"
            visitor.post(address, {}, {UPLOADS[address]: (name, data)})
            harmless(visitor, f"{address} {name} file {number}")
    assert visitor.open(JOB).status == 200


def test_what_all_forms_left_behind_is_shown_harmlessly(shops: Shops) -> None:
    """One shop whose people have written markup, a formula and template signs wherever they may."""
    visitor, _ = shops.visit(Stand("/"), anew=True)
    text = "=1+1\"'><img src=x onerror=alert(1)>{{7*7}}"
    for route, (stand, *_) in FORMS.items():
        if stand.before or stand.then:
            continue
        look(visitor, stand, stand.page)
        for _, form in forms_at(visitor, ROUTES, route):
            for name in text_fields(form):
                data = likely(form, route, presses(form)[0]) | {name: [text]}
                visitor.at = stand.page
                visitor.post(form.action, data, files_of(form))
                if visitor.status == 200:
                    break
            break
    assert visitor.open("/audit").answer.text.count("onerror=alert(1)") > 20
    _look_around(visitor, "all forms")


def test_every_form_is_in_the_tables(shops: Shops) -> None:
    """The app's routes and the pages that its links lead to, one of each kind, have no form, search or upload that the
    tests above do not know."""
    assert len(set(TEXTS)) + len(FILES) >= 300
    assert not FORMS.keys() & WITHOUT_TEXT
    assert ROUTES.keys() == FORMS.keys() | WITHOUT_TEXT
    visitor, _ = shops.visit(Stand("/"), anew=True)
    asking = _routes("GET")
    uploads, searches = {route_of(ROUTES, a) for a in UPLOADS}, {route_of(asking, page) for page in SEARCHES}
    standing: dict[tuple[str, tuple[str, ...]], set[str]] = {}
    opened = 0
    for page in _crawl(visitor, asking):
        opened += 1
        for route, form in forms_at(visitor, ROUTES):
            standing.setdefault((route, tuple(text_fields(form))), set()).add(page)
        for form in searches_at(visitor):
            assert route_of(asking, form.action or urlsplit(page).path) in searches, f"{page}: {text_fields(form)}"
        for field in visitor.page.select("form input[type=file][name]"):
            form = Form(field.find_parent("form"), visitor.page)  # type: ignore[arg-type]  # selected as such
            assert route_of(ROUTES, form.action) in uploads, f"{page}: {form.action}"
    assert opened > 50
    for (route, fields), pages in standing.items():
        assert pages & {stand.page for stand in FORMS.get(route, ())}, f"{route} with {fields} is met on {pages} only"


def _crawl(visitor: Visitor, asking: Mapping[str, re.Pattern[str]]) -> Iterator[str]:
    """Opens the pages on which forms are said to stand, and those that links lead to, one for each route and set of
    names in the query."""
    ahead, seen = [*PAGES, "/", JOB, DONE], set()
    said = len(PAGES)
    for number, address in enumerate(ahead):  # which grows
        to = urlsplit(address)
        route = route_of(asking, to.path)
        kind = (route, *sorted(part.partition("=")[0] for part in to.query.split("&")))
        if (kind in seen and number >= said) or not route or "/files/" in route or "/export." in route:
            continue
        seen.add(kind)
        visitor._take(visitor.client.get(address))
        if visitor.status == 200 and visitor.answer.headers["content-type"].startswith("text/html"):
            yield address
            links = re.findall(r'<a\b[^>]*?\shref="([^"]*)"', visitor.answer.text)
            ahead += dict.fromkeys(urldefrag(urljoin(address, unescape(link)))[0] for link in links)
