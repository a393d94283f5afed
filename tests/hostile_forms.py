"""Where each form of the app stands, and what a person would put into it: the ground of the hostile tests."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial

from bs4 import BeautifulSoup, Tag
from fastapi import FastAPI
from fastapi.routing import APIRoute, iter_route_contexts

from pinmap.core.crossing import edits
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import Loom
from pinmap.core.model.people import PersonRole
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Fate
from pinmap.services import jobs, people, revisions, sharing
from tests.factories_web import DONE, JOB, Form, Visitor

PASSWORD = "kettle orchid brass lantern"
_TYPED = {"text", "search", "number", "date", "email", "tel", "url", "password", "textarea"}


@dataclass(frozen=True, slots=True)
class Stand:
    """A page on which a form shows. ``before`` makes what it needs, and gives the page's address where nobody knows it
    before. ``then`` is a form of the page that has to be sent first. ``by`` is who looks: None for somebody who is not
    signed in. ``empty`` asks for a shop with nothing in it."""

    page: str = ""
    before: Callable[[Visitor], str | None] | None = None
    then: tuple[str, Mapping[str, str]] | None = None
    by: PersonRole | None = PersonRole.OWNER
    empty: bool = False


def _parted(visitor: Visitor) -> None:
    """A second loom behind a pair of in-line connectors."""

    def parted(job: Job, _: Snapshot) -> Job:
        return edits.part_loom(job, "r2", at_m=0.2, loom=Loom(key="loom2", name="Far loom"), name="X40")

    jobs.edit(visitor.shop, "bench", jobs.get(visitor.shop, "bench").version, parted)


def _released(visitor: Visitor) -> None:
    """A revision of the job that has wires to check off."""
    pins = [PinKey(platform, "C1", cavity) for platform in ("rig", "cart") for cavity in ("3", "4")]

    def settled(job: Job, snapshot: Snapshot) -> Job:
        for pin in pins:
            job = edits.set_fate(job, pin, Fate.PARKED, "not used", known=snapshot.pin.keys())
        return job

    version = jobs.edit(visitor.shop, "bench", jobs.get(visitor.shop, "bench").version, settled).version
    revisions.release(visitor.shop, "bench", version, "A. Fitter", "for the bench")


def _link(visitor: Visitor, passphrase: str = "") -> str:
    return f"/s/{sharing.create_link(visitor.shop, 'bench-done', 'A', days=7, passphrase=passphrase)}"


def _invited(visitor: Visitor) -> str:
    return f"/welcome/{people.invite(visitor.shop, 'New Hand', 'newhand', PersonRole.BUILDER)[1]}"


def _with_password(visitor: Visitor) -> None:
    """The owner has chosen a password."""
    people.come_in(visitor.shop, people.new_link(visitor.shop, 1)[1], PASSWORD, PASSWORD)


def _first_owner(visitor: Visitor) -> str:
    return f"/welcome/{people.first_link(visitor.shop)}"


def _stands(*pages: str) -> tuple[Stand, ...]:
    return tuple(Stand(page) for page in pages)


_RUN, _NODE = f"{JOB}/layout/board?run=r1", f"{JOB}/layout/board?node=box"
_TWO_LOOMS = (Stand(f"{JOB}/layout/looms", before=_parted),)

# Every POST route with a text field, and the pages on which its forms show.
FORMS: dict[str, tuple[Stand, ...]] = {
    "/sign-in": (Stand("/sign-in", before=_with_password, by=None),),
    "/welcome/{token}": (Stand(before=_first_owner, by=None, empty=True), Stand(before=_invited, by=None)),
    "/me/password": (Stand("/me", before=_with_password),),
    "/people/invite": _stands("/people"),
    "/shop": _stands("/shop"),
    "/functions": _stands("/functions?q=winch"),
    "/functions/own/{known:path}": _stands("/functions/own/WINCH"),
    "/platforms/new": _stands("/platforms/new"),
    "/platforms/{key}/editions": _stands("/platforms/cart"),
    "/platforms/{key}/connectors": _stands("/platforms/rig"),
    "/platforms/{key}/connectors/{name:path}": _stands("/platforms/rig/connectors/C1"),
    "/platforms/{key}/pins": _stands("/platforms/rig/connectors/C1"),
    "/platforms/{key}/pin": _stands("/platforms/rig/pin?pin=p%2Frig%2FC1%2F5%2F"),
    "/platforms/{key}/import": _stands("/platforms/rig/import"),
    "/platforms/{key}/paste": _stands("/platforms/rig/import"),
    "/imports/{draft}/headings": _stands("/imports/1"),
    "/imports/{draft}/cell": _stands("/imports/1"),
    "/jobs/new": _stands("/jobs/new"),
    "/jobs/{key}/settings": _stands(f"{JOB}/settings"),
    "/jobs/{key}/load-cases": _stands(f"{JOB}/settings"),
    "/jobs/{key}/copy": _stands(f"{JOB}/settings"),
    "/jobs/{key}/decide/settle": _stands(f"{JOB}/decide/ledger"),
    "/jobs/{key}/decide/signals/{signal}": _stands(f"{JOB}/decide/signals/s001"),
    "/jobs/{key}/decide/signals/{signal}/way": _stands(f"{JOB}/decide/signals/s001"),
    "/jobs/{key}/decide/signals/{signal}/members": _stands(f"{JOB}/decide/signals/s001"),
    "/jobs/{key}/decide/devices": _stands(f"{JOB}/decide/devices"),
    "/jobs/{key}/decide/devices/{device}": _stands(f"{JOB}/decide/devices"),
    "/jobs/{key}/layout/place": _stands(f"{JOB}/layout"),
    "/jobs/{key}/layout/nodes": _stands(f"{JOB}/layout"),
    "/jobs/{key}/layout/nodes/{node}": _stands(f"{JOB}/layout"),
    "/jobs/{key}/layout/segments": _stands(f"{JOB}/layout"),
    "/jobs/{key}/layout/segments/{segment}": _stands(f"{JOB}/layout"),
    "/jobs/{key}/layout/zones": _stands(f"{JOB}/layout"),
    "/jobs/{key}/layout/zones/{zone}": _stands(f"{JOB}/layout"),
    "/jobs/{key}/layout/board/runs/{segment}": _stands(_RUN),
    "/jobs/{key}/layout/board/runs/{segment}/fixings": _stands(_RUN),
    "/jobs/{key}/layout/board/fixings/{fixing}": _stands(f"{JOB}/layout/board?run=r2"),
    "/jobs/{key}/layout/board/nodes/{node}": _stands(_NODE),
    "/jobs/{key}/layout/board/grow": _stands(_NODE, _RUN),
    "/jobs/{key}/layout/board/picture": _stands(_NODE),
    "/jobs/{key}/layout/list/read": _stands(f"{JOB}/layout/list"),
    "/jobs/{key}/layout/list/take": (
        Stand(
            f"{JOB}/layout/list",
            then=(f"{JOB}/layout/list/read", {"text": "run\tfrom\tto\tlength_mm\nr1\tto rig\tfuse box\t900\n"}),
        ),
    ),
    "/jobs/{key}/layout/looms": _stands(f"{JOB}/layout/looms"),
    "/jobs/{key}/layout/looms/part": _stands(f"{JOB}/layout/looms"),
    "/jobs/{key}/layout/looms/looms/{loom}": _stands(f"{JOB}/layout/looms"),
    "/jobs/{key}/layout/looms/halves/{node}": _TWO_LOOMS,
    "/jobs/{key}/layout/looms/matings/{mating}/cavity": _TWO_LOOMS,
    "/jobs/{key}/check/accept": _stands(f"{JOB}/check"),
    "/jobs/{key}/bench": _stands(f"{JOB}/bench", f"{JOB}/bench?stage=continuity"),
    "/jobs/{key}/revisions/{letter}/bench": (Stand(f"{JOB}/revisions/A/bench", before=_released),),
    "/jobs/{key}/revisions/{letter}/branch": _stands(f"{DONE}/revisions/A"),
    "/jobs/{key}/handover/release": _stands(f"{DONE}/handover"),
    "/jobs/{key}/handover/share": _stands(f"{DONE}/handover"),
    "/jobs/{key}/handover/answer": _stands(f"{DONE}/handover"),
    "/s/{token}": (Stand(before=partial(_link, passphrase=PASSWORD), by=None),),
    "/s/{token}/ask": (Stand(before=_link, by=None),),
}
# Those that have no text field to write into: buttons, choices, ticks, files.
WITHOUT_TEXT = {
    "/sign-out", "/me/sessions/end", "/me/sessions/end-others", "/people/{person}/link", "/people/{person}/role",
    "/people/{person}/disable", "/people/{person}/enable", "/shop/mark", "/shop/mark/remove", "/shop/keeping/backup",
    "/shelf/{key}/copy", "/platforms/{key}/delete", "/imports/{draft}/choose", "/imports/{draft}/take",
    "/imports/{draft}/discard", "/jobs/import", "/jobs/{key}/seats", "/jobs/{key}/undo", "/jobs/{key}/redo",
    "/jobs/{key}/delete", "/jobs/{key}/here", "/jobs/{key}/decide/take", "/jobs/{key}/decide/signals/{signal}/dissolve",
    "/jobs/{key}/layout/looms/plug", "/jobs/{key}/layout/looms/matings/{mating}", "/jobs/{key}/check/sizing",
    "/jobs/{key}/check/sizing/stop",
    "/jobs/{key}/handover/revoke", "/jobs/{key}/revisions/{letter}/restore", "/jobs/{key}/kept/{draft}/bring-back",
}  # fmt: skip# Pages with fields that ask for another page.
SEARCHES = ("/audit", "/functions", "/worksheet", f"{JOB}/trace", f"{JOB}/bench", f"{DONE}/revisions/A/bench")

# What a person would type into a field that is blank, by its name.
_LIKELY = {
    "name": "Sample", "new_name": "C7", "key": "e9", "code": "SAMPLE", "connector": "C1", "cavity": "77",
    "function": "Fan", "length_mm": "120", "at_mm": "100", "inner_mm": "14", "by_mm": "20", "true_mm": "500",
    "ambient_c": "40", "supply_v": "13.5", "reason": "as agreed", "note": "as measured", "loom": "Rear loom",
    "text": "connector\tcavity\tfunction\nC1\t6\tHorn\n", "value": "0.4", "rating_a": "10", "days": "30",
    "answer": "The red one", "heading_row": "1", "sign_in": "hand", "password": PASSWORD, "password_again": PASSWORD,
    "old_password": PASSWORD, "passphrase": PASSWORD,
}  # fmt: skip
# What has to be chosen or typed instead, by route and the button's value, so that the form is taken.
_RATHER: dict[tuple[str, str], dict[str, list[str]]] = {
    ("/sign-in", ""): {"name": ["owner"]},
    ("/jobs/new", ""): {"pick": ["rig|", "cart|late"]},
    ("/jobs/{key}/decide/settle", "join"): {"pin": ["p/rig/C1/3/", "p/cart/C1/3/"], "signal": [""]},
    ("/jobs/{key}/decide/settle", "settle"): {"pin": ["p/rig/C1/3/"], "owner": ["A. Fitter"]},
    ("/jobs/{key}/decide/settle", "clear"): {"pin": ["p/rig/C1/5/"]},
    ("/jobs/{key}/decide/signals/{signal}/members", "in"): {"end": ["p/rig/C1/1/"], "device": ["new:fuse"]},
    ("/jobs/{key}/layout/segments", ""): {"a": ["j9"]},
    ("/jobs/{key}/layout/board/picture", ""): {"on-r1": ["100"], "on-r2": ["50"]},
    ("/jobs/{key}/layout/list/read", ""): {"text": ["from\tto\tlength_mm\nto rig\tfuse box\t900\n"]},
    ("/jobs/{key}/bench", "passed"): {"value": ["0.01"]},
    ("/jobs/{key}/revisions/{letter}/bench", "passed"): {"value": ["0.01"]},
}
# Buttons that remove what the form is about; that may be in use.
REMOVES = {"remove", "delete"}
_MADE_FROM = {"version", "as_shown", "untouched"}


def routes_of(app: FastAPI, method: str) -> dict[str, re.Pattern[str]]:
    """The app's routes of a method in the order in which they are tried, each with the paths that it answers to."""
    found = {}
    for context in iter_route_contexts(app.routes):
        if isinstance(context.original_route, APIRoute) and method in (context.methods or ()):
            path = str(context.path)
            pattern = re.sub(r"\\{\w+\\}", "[^/]+", re.sub(r"\\{\w+:path\\}", ".+", re.escape(path)))
            found[path] = re.compile(pattern)
    return found


def route_of(routes: Mapping[str, re.Pattern[str]], action: str) -> str:
    """The route that a form's address leads to."""
    path = action.partition("?")[0]
    return next((route for route, pattern in routes.items() if pattern.fullmatch(path)), "")


def text_fields(form: Form) -> list[str]:
    """Names of the fields that take text, hidden text areas too."""
    kinds = ((str(t["name"]), str(t.get("type", "text")) if t.name == "input" else t.name) for t in form.controls)
    return list(dict.fromkeys(name for name, kind in kinds if kind in _TYPED))


def secret_fields(form: Form) -> set[str]:
    """Names of the fields whose text must not come back."""
    return {str(t["name"]) for t in form.controls if t.get("type") == "password"}


def presses(form: Form) -> list[tuple[str, str]]:
    """Name and value of each button, a plain one as ("", "")."""
    found = dict.fromkeys((str(b.get("name", "")), str(b.get("value", ""))) for b in form.buttons)
    return list(found) or [("", "")]  # without any, the key Enter sends it


def kind_of(form: Form) -> tuple[object, ...]:
    """What forms have in common that are the same but for what they are about."""
    return tuple(text_fields(form)), tuple(presses(form)), tuple(sorted(_hidden(form)))


def _hidden(form: Form) -> dict[str, str]:
    return {
        str(t["name"]): str(t.get("value", ""))
        for t in form.controls
        if t.get("type") == "hidden" and t["name"] not in _MADE_FROM
    }


def is_same(a: Form, b: Form) -> bool:
    """Whether this is the same form of a page that was opened again."""
    return a.action == b.action and kind_of(a) == kind_of(b) and _hidden(a) == _hidden(b)


def likely(form: Form, route: str, press: tuple[str, str]) -> dict[str, list[str]]:
    """The form as a person would send it by a button: blank fields filled in, one box ticked where none is, something
    chosen where nothing is."""
    found = form.values()
    for t in form.controls:
        name = str(t["name"])
        if t.get("type") in ("checkbox", "radio") and name not in found:
            found[name] = [str(t.get("value", "on"))]
        elif t.name == "select" and not any(found.get(name, [])):
            found[name] = [next((v for v in form.offered(name) if v), "")]
    for name in text_fields(form):
        if not any(found.get(name, [])):
            found[name] = [_LIKELY.get(name, "")]
    found |= _RATHER.get((route, press[1]), {})
    return found | ({press[0]: [press[1]]} if press[0] else {})


def files_of(form: Form) -> dict[str, tuple[str, bytes]] | None:
    """The file that a form asks for, where it does not take text instead."""
    asked = [str(t["name"]) for t in form.controls if t.get("type") == "file"]
    return {asked[0]: ("list.csv", b"connector,cavity\nC1,6\n")} if asked and "text" not in text_fields(form) else None


# Text on our pages is escaped, and forms do not nest.
_FORM = re.compile(r"<form\b[^>]*>.*?</form>", re.DOTALL)
_ASIDE = re.compile(r"""<input\b[^>]* form="[^>]*>|<(select|textarea|button)\b[^>]* form="[^>]*>.*?</\1>""", re.DOTALL)


def forms_at(visitor: Visitor, routes: Mapping[str, re.Pattern[str]], route: str = "") -> Iterator[tuple[str, Form]]:
    """The forms with a text field on the page that was opened, each with its route; those of one route if named. Only
    these and the fields that stand elsewhere are parsed, since the whole takes longer than many an answer."""
    text = visitor.answer.text
    for markup in _FORM.findall(text):
        head = _parsed(markup[: markup.index(">") + 1])
        leads = route_of(routes, str(head.get("action", "")))
        if head.get("method") != "post" or (route and leads != route):
            continue
        aside = "".join(m[0] for m in _ASIDE.finditer(text)) if head.get("id") else ""
        page = BeautifulSoup(markup + aside, "html.parser")
        tag = page.find("form")
        assert isinstance(tag, Tag)
        form = Form(tag, page)
        if text_fields(form):
            yield leads, form


def _parsed(markup: str) -> Tag:
    found = BeautifulSoup(markup, "html.parser").find(True)
    assert isinstance(found, Tag)
    return found


def searches_at(visitor: Visitor) -> Iterator[Form]:
    """The forms of the page that ask for another page by a text."""
    for tag in visitor.page.find_all("form", method="get"):
        form = Form(tag, visitor.page)
        if text_fields(form):
            yield form
