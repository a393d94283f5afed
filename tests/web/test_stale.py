"""Whoever saves late is refused, sees both versions, and loses nothing: on every form of the app that changes
something stored."""

from __future__ import annotations

import pkgutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib import import_module

import pytest
from fastapi.routing import APIRoute, iter_route_contexts

from pinmap.core.crossing import edits
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import Loom
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Fate
from pinmap.services import card, crossing, dictionary, jobs, people, pinout_import, platforms, questions
from pinmap.services.shop import Shop
from pinmap.web import routers
from tests.factories_web import DONE, JOB, Visitor

# Routes that change nothing which somebody else may have changed meanwhile, and why.
WITHOUT_VERSION = {
    "/jobs/new": "makes a new job",
    "/jobs/import": "makes a new job",
    "/jobs/{key}/copy": "makes a new job of what is stored",
    "/jobs/{key}/revisions/{letter}/branch": "makes a new job of a revision, which never changes",
    "/jobs/{key}/layout/list/read": "looks only",
    "/jobs/{key}/here": "notes who has the job open; changes nothing of it",
    "/jobs/{key}/check/sizing/stop": "ends a search; changes nothing of the job",
    "/jobs/{key}/bench": "adds an entry; says itself what it was shown, see tests/web/test_bench.py",
    "/jobs/{key}/revisions/{letter}/bench": "as above",
    "/jobs/{key}/handover/share": "makes a link to a revision, which never changes",
    "/jobs/{key}/handover/revoke": "ends a link, whatever happened to it",
    "/s/{token}": "reads",
    "/s/{token}/ask": "adds a question",
    "/shop/keeping/backup": "takes a copy of everything away",
    "/shop/mark": "takes the place of any earlier mark",
    "/shop/mark/remove": "takes off whatever mark there is",
    "/platforms/new": "makes a new platform",
    "/platforms/{key}/import": "makes a new draft",
    "/platforms/{key}/paste": "makes a new draft",
    "/shelf/{key}/copy": "makes a new platform",
    "/functions": "makes a new function",
    "/people/invite": "makes a new person",
    "/people/{person}/link": "makes a new link, which takes the place of any earlier one",
    "/me/password": "asks for the old password",
    "/me/sessions/end": "ends a session, whatever happened to it",
    "/me/sessions/end-others": "ends sessions, whatever happened to them",
    "/sign-in": "begins a session",
    "/sign-out": "ends a session",
    "/welcome/{token}": "works once",
}


@dataclass(frozen=True)
class Case:
    """A form that is opened, and sent after somebody else has saved. ``differs`` are words of what the page must say
    differs; ``again`` is off where somebody else has done the same already."""

    route: str
    page: str
    action: str
    typed: Mapping[str, str | Sequence[str]] = field(default_factory=dict)
    press: str = ""
    hidden: Mapping[str, str] = field(default_factory=dict)
    differs: tuple[str, ...] = ()
    again: bool = True


def _later(case: Case) -> Callable[[Shop], None]:
    """What somebody else does while the form is open."""

    def job(shop: Shop) -> None:
        key = case.page.split("/")[2]
        version = jobs.get(shop, key).version
        jobs.edit(shop, key, version, lambda j, _: edits.update_job(j, customer="Somebody else's customer"))

    def platform(shop: Shop) -> None:
        key = case.page.split("/")[2]
        platforms.update(shop, key, platforms.get(shop, key).version, source="somebody else's sheet")

    def draft(shop: Shop) -> None:
        pinout_import.edit_cell(shop, 1, pinout_import.get(shop, 1).version, 4, 2, "Fan, somebody else says")

    def function(shop: Shop) -> None:
        entry, version = dictionary.get_own(shop, "WINCH")
        dictionary.update(shop, replace(entry, source="somebody else"), version)

    def person(shop: Shop) -> None:
        for line in people.list_people(shop):
            if line.person.name != "A. Fitter":
                now = people.disable if line.person.disabled is None else people.enable
                now(shop, line.person.id, line.person.version)

    def answer(shop: Shop) -> None:
        (asked,) = questions.of_job(shop, "bench-done")
        questions.answer(shop, "bench-done", asked.id, asked.version, "Somebody else's answer")

    def words(shop: Shop) -> None:
        card.change(shop, card.get(shop).version, name="Somebody else's name", line="", contact="")

    if case.route.endswith("/answer"):
        return answer
    by_page = {
        "shop": words,
        "jobs": job,
        "platforms": platform,
        "imports": draft,
        "functions": function,
        "people": person,
    }
    return by_page[case.page.split("/")[1]]


def _ref(platform: str, cavity: str, edition: str = "") -> str:
    return f"p/{platform}/C1/{cavity}/{edition}"


# These have tests of their own.
REDO = "/jobs/{key}/redo"  # what somebody else saves leaves nothing to be done again
RUN_LIST = "/jobs/{key}/layout/list/take"  # its form stands on the answer to another one
BOARD = f"{JOB}/layout/board"
LOOMS = f"{JOB}/layout/looms"
LEDGER = f"{JOB}/decide/ledger"
SIGNAL = f"{JOB}/decide/signals/s001"
CASES = (
    Case("/jobs/{key}/settings", f"{JOB}/settings", f"{JOB}/settings", {"note": "Typed late", "strip_mm": "7"},
         differs=("Strip", "6 mm", "7 mm", "Typed late")),
    Case("/jobs/{key}/seats", f"{JOB}/settings", f"{JOB}/seats", {"pick": "lone|"}, "deed=add", {"seat": "donor"},
         differs=("seat donor", "Lone")),
    Case("/jobs/{key}/load-cases", f"{JOB}/settings", f"{JOB}/load-cases", {"supply_v": "13.25"}, "", {"case": "idle"},
         differs=("operating state Idle", "Supply", "13.5 V", "13.25 V")),
    Case("/jobs/{key}/delete", f"{JOB}/settings", f"{JOB}/delete", differs=("deleted for good",)),
    Case("/jobs/{key}/decide/take", f"{JOB}/decide", f"{JOB}/decide/take", {"take": ["CRANK"]},
         differs=("Crankshaft position sensor signal", "Rig C1-3", "not there")),
    Case("/jobs/{key}/decide/settle", LEDGER, f"{JOB}/decide/settle",
         {"pin": [_ref("rig", "4")], "reason": "Typed late", "fate": "capped"}, "deed=settle",
         differs=("pin Rig C1-4", "Fate capped; Reason Typed late")),
    Case("/jobs/{key}/decide/signals/{signal}", SIGNAL, SIGNAL, {"name": "Lamp feed, typed late", "mm2": "1.5"},
         differs=("signal 1 Lamp feed", "Wire size", "4 mm²", "1.5 mm²")),
    Case("/jobs/{key}/decide/signals/{signal}/dissolve", SIGNAL, f"{SIGNAL}/dissolve",
         differs=("signal 1 Lamp feed", "taken out")),
    Case("/jobs/{key}/decide/signals/{signal}/members", SIGNAL, f"{SIGNAL}/members", {"add": _ref("rig", "4")},
         "deed=add", differs=("Joins", "Rig C1-4")),
    Case("/jobs/{key}/decide/signals/{signal}/way", SIGNAL, f"{SIGNAL}/way", {"via": "r1, r2"},
         differs=("Led through", "r1, r2")),
    Case("/jobs/{key}/decide/devices", f"{JOB}/decide/devices", f"{JOB}/decide/devices",
         {"kind": "relay", "name": "typed late", "coil_ohm": "85"}, differs=("relay K1", "85 Ω")),
    Case("/jobs/{key}/decide/devices/{device}", f"{JOB}/decide/devices", f"{JOB}/decide/devices/F1",
         {"rating_a": "10", "name": "typed late"}, differs=("fuse F1", "Rating", "7.5 A", "10 A")),
    Case("/jobs/{key}/layout/place", f"{JOB}/layout", f"{JOB}/layout/place",
         {"connector": "cart|C2", "at": "box", "length_mm": "650"}, differs=("From fuse box; To C2", "650 mm")),
    Case("/jobs/{key}/layout/nodes", f"{JOB}/layout", f"{JOB}/layout/nodes", {"name": "typed late"},
         differs=("junction typed late",)),
    Case("/jobs/{key}/layout/nodes/{node}", f"{JOB}/layout", f"{JOB}/layout/nodes/j9", {"name": "typed late"},
         differs=("spare branch", "typed late")),
    Case("/jobs/{key}/layout/segments", f"{JOB}/layout", f"{JOB}/layout/segments",
         {"a": "box", "b": "j9", "length_mm": "321"}, differs=("From fuse box; To spare branch", "321 mm")),
    Case("/jobs/{key}/layout/segments/{segment}", f"{JOB}/layout", f"{JOB}/layout/segments/r1", {"length_mm": "815.5"},
         differs=("run r1", "800 mm", "815.5 mm")),
    Case("/jobs/{key}/layout/zones", f"{JOB}/layout", f"{JOB}/layout/zones",
         {"name": "typed late", "ambient_c": "40"}, differs=("zone typed late", "40 °C")),
    Case("/jobs/{key}/layout/zones/{zone}", f"{JOB}/layout", f"{JOB}/layout/zones/bay",
         {"ambient_c": "95", "wet": "yes"}, differs=("zone engine bay", "85 °C", "95 °C")),
    Case("/jobs/{key}/layout/board/runs/{segment}", f"{BOARD}?run=r1", f"{BOARD}/runs/r1",
         {"at_mm": "300", "name": "late"}, "deed=split", differs=("junction late", "To fuse box; Length 500 mm")),
    Case("/jobs/{key}/layout/board/runs/{segment}/fixings", f"{BOARD}?run=r1", f"{BOARD}/runs/r1/fixings",
         {"at_mm": "120", "inner_mm": "14"}, differs=("clip c2", "120 mm", "14 mm")),
    Case("/jobs/{key}/layout/board/fixings/{fixing}", f"{BOARD}?run=r2", f"{BOARD}/fixings/c1", {"inner_mm": "17"},
         "deed=save", differs=("clip c1", "17 mm")),
    Case("/jobs/{key}/layout/board/nodes/{node}", f"{BOARD}?node=box", f"{BOARD}/nodes/box", {"by_mm": "100"},
         "deed=slide", differs=("run r1", "800 mm", "700 mm")),
    Case("/jobs/{key}/layout/board/grow", f"{BOARD}?node=box", f"{BOARD}/grow", {"name": "late", "length_mm": "55"},
         differs=("From fuse box; To late; Length 55 mm",)),
    Case("/jobs/{key}/layout/board/picture", BOARD, f"{BOARD}/picture",
         {"on-r1": "4", "on-r2": "1", "reference": "r1", "true_mm": "810"}, differs=("run r2", "203 mm")),
    Case("/jobs/{key}/layout/looms", LOOMS, LOOMS, {"name": "Typed late"}, differs=("loom Typed late",)),
    Case("/jobs/{key}/layout/looms/part", LOOMS, f"{LOOMS}/part",
         {"segment": "r1", "at_mm": "250", "name": "X40", "loom": "Typed late"},
         differs=("loom Typed late", "mating m1", "X40S", "250 mm")),
    Case("/jobs/{key}/layout/looms/looms/{loom}", LOOMS, f"{LOOMS}/looms/loom", {"name": "Typed late"},
         differs=("Name", "Typed late")),
    Case("/jobs/{key}/layout/looms/plug", LOOMS, f"{LOOMS}/plug", {"a": "X40S", "b": "X40P"},
         differs=("mating m1", "From X40S; To X40P")),
    Case("/jobs/{key}/layout/looms/matings/{mating}", LOOMS, f"{LOOMS}/matings/m1", {}, "deed=unplug",
         differs=("mating m1", "taken out")),
    Case("/jobs/{key}/layout/looms/matings/{mating}/cavity", LOOMS, f"{LOOMS}/matings/m1/cavity", {"cavity": "7"}, "",
         {"signal": "s001"}, differs=("mating m1", "Cavities kept", "7 Lamp feed")),
    Case("/jobs/{key}/layout/looms/halves/{node}", LOOMS, f"{LOOMS}/halves/X40S", {"name": "X41"},
         differs=("connector X40S", "Name", "X41")),
    Case("/jobs/{key}/undo", f"{JOB}/layout", f"{JOB}/undo", differs=("Customer", "Somebody else's customer")),
    Case("/jobs/{key}/check/accept", f"{JOB}/check", f"{JOB}/check/accept",
         {"reason": "it is a test, late"}, differs=("Accepted by A. Fitter; Reason it is a test, late",)),
    Case("/jobs/{key}/check/sizing", f"{JOB}/check/sizing?signal=s001", f"{JOB}/check/sizing",
         differs=("signal 1 Lamp feed", "0.5 mm²")),
    Case("/jobs/{key}/handover/release", f"{DONE}/handover", f"{DONE}/handover/release",
         {"note": "typed late"}, differs=("released as it stands now",)),
    Case("/jobs/{key}/handover/answer", f"{DONE}/handover", f"{DONE}/handover/answer", {"answer": "Typed late"},
         differs=("Answer", "Somebody else's answer", "Typed late")),
    Case("/shop", "/shop", "/shop", {"name": "Typed late", "contact": "Quay 3"},
         differs=("Name", "Somebody else's name", "Typed late")),
    Case("/jobs/{key}/revisions/{letter}/restore", f"{DONE}/revisions/A", f"{DONE}/revisions/A/restore",
         differs=("Customer", "Somebody else's customer", "–")),
    Case("/jobs/{key}/kept/{draft}/bring-back", f"{DONE}/handover", f"{DONE}/kept/1/bring-back",
         differs=("Note", "after revision A")),
    Case("/platforms/{key}/delete", "/platforms/lone", "/platforms/lone/delete", differs=("deleted for good",)),
    Case("/platforms/{key}/editions", "/platforms/rig", "/platforms/rig/editions",
         {"key": "typed-late", "from_year": "1999"}, differs=("edition typed-late", "1999")),
    Case("/platforms/{key}/connectors", "/platforms/rig", "/platforms/rig/connectors",
         {"name": "C9", "description": "typed late"}, differs=("connector C9", "typed late")),
    Case("/platforms/{key}/connectors/{name:path}", "/platforms/rig/connectors/C1", "/platforms/rig/connectors/C1",
         {"place": "typed late"}, differs=("connector C1", "Place", "typed late")),
    Case("/platforms/{key}/pins", "/platforms/rig/connectors/C1", "/platforms/rig/pins",
         {"cavity": "7", "function": "typed late"}, differs=("pin C1-7", "typed late")),
    Case("/platforms/{key}/pin", f"/platforms/rig/pin?pin={_ref('rig', '1')}",
         "/platforms/rig/pin?pin=p%2Frig%2FC1%2F1%2F",
         {"current_a": "4.25", "note": "typed late"}, differs=("pin C1-1", "4 A", "4.25 A")),
    Case("/imports/{draft}/headings", "/imports/1", "/imports/1/headings", {"default_connector": "typed late"},
         differs=("Connector of all rows", "typed late")),
    Case("/imports/{draft}/cell", "/imports/1", "/imports/1/cell", {"text": "5.5"}, "", {"row": "3", "column": "3"},
         differs=("row 3", "much", "5.5")),
    Case("/imports/{draft}/choose", "/imports/1", "/imports/1/choose", {}, "choice=keep", {"row": "2"},
         differs=("row 2", "not chosen", "keep")),
    Case("/imports/{draft}/take", "/imports/1", "/imports/1/take", {}, "how=good", differs=("1 of 3 rows",)),
    Case("/imports/{draft}/discard", "/imports/1", "/imports/1/discard", differs=("thrown away",)),
    Case("/functions/own/{known:path}", "/functions/own/WINCH", "/functions/own/WINCH",
         {"current_a": "95", "name": "Typed late"}, differs=("function WINCH", "90 A", "95 A")),
    Case("/people/{person}/role", "/people", "/people/2/role", {"role": "technician"},
         differs=("Bert Builder", "Role", "builder", "technician")),
    Case("/people/{person}/disable", "/people", "/people/2/disable", differs=("does not differ",), again=False),
    Case("/people/{person}/enable", "/people", "/people/3/enable", differs=("does not differ",), again=False),
)  # fmt: skip


def _writing_routes() -> dict[str, APIRoute]:
    """Every route of every screen that does more than read, by its address."""
    names = [m.name for m in pkgutil.iter_modules(routers.__path__)]
    routes = [r for name in names for r in import_module(f"{routers.__name__}.{name}").router.routes]
    contexts = list(iter_route_contexts(routes))
    return {
        str(c.path): c.original_route
        for c in contexts
        if isinstance(c.original_route, APIRoute) and c.original_route.methods - {"GET", "HEAD"}
    }


def test_every_route_that_changes_something_is_tried_here() -> None:
    """A new form of the app must carry a version and stand among the cases above, or say why it needs none."""
    posts = _writing_routes()
    assert len(posts) > 40
    assert posts.keys() == {c.route for c in CASES} | WITHOUT_VERSION.keys() | {REDO, RUN_LIST}
    assert not {c.route for c in CASES} & WITHOUT_VERSION.keys()
    for path, route in posts.items():
        names = {p.name for d in (route.dependant, *route.dependant.dependencies) for p in d.body_params}
        assert ("version" in names) != (path in WITHOUT_VERSION), path


def _ready(visitor: Visitor, case: Case) -> Case:
    """The case with what only the stored state knows: the token of a proposal, the key of the demo's signal."""
    if case.typed.get("take") == ["CRANK"]:
        view = jobs.get(visitor.shop, "bench")
        found = next(p for p in crossing.proposals(view) if p.function_code == "CKP")
        return replace(case, typed={"take": [crossing.token(found)]})
    if case.route.startswith("/jobs/{key}/layout/looms/") and case.route.rpartition("/")[2] != "part":
        _two_looms(visitor.shop, plugged=case.route.rpartition("/")[2] != "plug")
    return case


def _two_looms(shop: Shop, *, plugged: bool) -> None:
    """The job's loom parted in its first run, or parted and then taken apart."""

    def change(job: Job, _: Snapshot) -> Job:
        job = edits.part_loom(job, "r1", at_m=0.3, loom=Loom(key="other", name="Other loom"), name="X40")
        return job if plugged else edits.unplug(job, "m1")

    jobs.edit(shop, "bench", jobs.get(shop, "bench").version, change)


@pytest.mark.parametrize("case", CASES, ids=[c.route for c in CASES])
def test_a_late_save_shows_both_versions_and_can_be_done_again(bench: Visitor, case: Case) -> None:
    case = _ready(bench, case)
    bench.open(case.page)
    form = bench.form(case.action, **case.hidden)
    old = form.values()["version"][0]
    _later(case)(bench.shop)
    bench.send(case.action, case.typed, press=case.press, hidden=case.hidden)
    bench.refused("Somebody else saved first", f"was of version {old}", *case.differs, status=409)
    if not case.again:
        return
    again = bench.form(case.action, case.press, **case.hidden)
    for name, value in case.typed.items():
        values = [value] if isinstance(value, str) else list(value)
        assert again.values()[name] == values, f"what was typed into {name} is not in the form again"
    assert int(again.values()["version"][0]) > int(old)
    bench.sent(case.action, press=case.press, hidden=case.hidden)
    assert bench.notice() or case.route.endswith("delete")


@pytest.mark.parametrize("case", CASES[::4], ids=[c.route for c in CASES[::4]])
def test_without_the_page_it_stood_on_everything_typed_can_still_be_sent(bench: Visitor, case: Case) -> None:
    """A browser that does not say where the form stood: one page with the differences, what was typed, a button."""
    case = _ready(bench, case)
    bench.sends_referer = False
    bench.open(case.page)
    _later(case)(bench.shop)
    bench.send(case.action, case.typed, press=case.press, hidden=case.hidden)
    bench.refused("Somebody else saved first", *case.differs, status=409)
    for name, value in case.typed.items():
        for v in [value] if isinstance(value, str) else value:
            assert v in bench.form(case.action).values()[name]
    bench.sent(case.action)


def test_a_field_that_nobody_touched_keeps_what_somebody_else_saved(bench: Visitor) -> None:
    """Two people change different fields of one signal; both changes are in the job at the end."""
    bench.open(SIGNAL)
    version = jobs.get(bench.shop, "bench").version
    jobs.edit(bench.shop, "bench", version, lambda j, _: edits.update_signal(j, "s001", name="Lamps", note="theirs"))
    bench.send(SIGNAL, {"colour": "RD"}).refused(
        "Wire colour", "You had not touched Name, Note; the form shows what is stored now", status=409
    )
    assert "Lamp feed" not in bench.page.select_one(".refused").get_text().replace("signal 1 Lamps", "")
    bench.sent(SIGNAL)
    signal = jobs.get(bench.shop, "bench").snapshot.signal["s001"]
    assert (signal.name, signal.note, signal.colour) == ("Lamps", "theirs", "RD")


def test_what_was_typed_survives_two_late_saves(bench: Visitor) -> None:
    bench.open(SIGNAL)
    for n in (1, 2):
        version = jobs.get(bench.shop, "bench").version
        jobs.edit(bench.shop, "bench", version, lambda j, _, n=n: edits.update_job(j, note=f"theirs {n}"))
        bench.send(SIGNAL, {"note": "mine"} if n == 1 else {}).refused("mine", status=409)
    bench.sent(SIGNAL)
    assert jobs.get(bench.shop, "bench").snapshot.signal["s001"].note == "mine"


def test_both_changed_the_same_field(bench: Visitor) -> None:
    bench.open(SIGNAL)
    version = jobs.get(bench.shop, "bench").version
    jobs.edit(bench.shop, "bench", version, lambda j, _: edits.update_signal(j, "s001", mm2=2.5))
    bench.send(SIGNAL, {"mm2": "1.5"})
    row = next(r for r in bench.page.select(".refused tbody tr") if "Wire size" in r.get_text())
    assert [c.get_text() for c in row.select("td")] == ["Wire size", "2.5 mm²", "1.5 mm²"]
    assert jobs.get(bench.shop, "bench").snapshot.signal["s001"].mm2 == 2.5, "the late save was stored all the same"


def test_what_cannot_be_done_any_more_says_why_and_keeps_what_was_typed(bench: Visitor) -> None:
    bench.open(f"{JOB}/decide/devices")
    version = jobs.get(bench.shop, "bench").version
    jobs.edit(bench.shop, "bench", version, lambda j, _: edits.remove_device(j, "F2"))
    action = f"{JOB}/decide/devices/F2"
    bench.send(action, {"name": "typed late"}).refused("cannot be done to the present state", "typed late", status=409)
    assert not bench.page.select(f'form[action="{action}"]')


def test_ticks_that_the_page_has_no_more_are_named(bench: Visitor) -> None:
    address = f"{LEDGER}?fate=undecided"
    bench.open(address)
    version = jobs.get(bench.shop, "bench").version
    gone = PinKey("rig", "C1", "4")
    jobs.edit(bench.shop, "bench", version, lambda j, _: edits.set_fate(j, gone, Fate.CAPPED, "theirs"))
    typed = {"pin": [_ref("rig", "3"), _ref("rig", "4")], "reason": "mine"}
    bench.send(f"{JOB}/decide/settle", typed, press="deed=settle")
    bench.refused("no place any more", "rig C1-4", "capped", "theirs", "parked", "mine", status=409)
    assert bench.form(f"{JOB}/decide/settle").values()["pin"] == [_ref("rig", "3")]


def test_nothing_is_done_again_after_somebody_else_has_saved(bench: Visitor) -> None:
    bench.open(f"{JOB}/layout").sent(f"{JOB}/undo")
    bench.open(f"{JOB}/layout")
    version = jobs.get(bench.shop, "bench").version
    jobs.edit(bench.shop, "bench", version, lambda j, _: edits.update_job(j, note="theirs"))
    bench.send(f"{JOB}/redo").refused("Somebody else saved first", "no change was undone", status=409)


def test_a_list_of_runs_that_comes_late(bench: Visitor) -> None:
    bench.open(f"{JOB}/layout/list").sent(f"{JOB}/layout/list/read", {"text": "run,from,to,length_mm\nr1,,,855\n"})
    version = jobs.get(bench.shop, "bench").version
    jobs.edit(bench.shop, "bench", version, lambda j, _: edits.update_segment(j, "r1", length_m=0.9))
    bench.send(f"{JOB}/layout/list/take").refused("run r1", "900 mm", "855 mm", "What you typed", status=409)
    assert jobs.get(bench.shop, "bench").job.segments[0].length_m == 0.9
    bench.sent(f"{JOB}/layout/list/take")
    assert jobs.get(bench.shop, "bench").job.segments[0].length_m == 0.855


def test_a_program_gets_the_differences_as_json(bench: Visitor) -> None:
    data = {"version": "1", "name": "Lamps", "mm2": "1.5"}
    answer = bench.client.post(SIGNAL, data=data, headers={"accept": "application/json"})
    assert answer.status_code == 409
    found = answer.json()
    assert (found["expected"], found["found"]) == (1, 2)
    assert {"where": "signal 1 Lamp feed", "what": "Wire size", "stored": "4 mm²", "typed": "1.5 mm²"} in found[
        "changes"
    ]
