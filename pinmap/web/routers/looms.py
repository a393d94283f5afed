"""Looms of a job: what each has, where one plugs into another, and which cavity each signal crosses in."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.crossing import edits
from pinmap.core.crossing.edit_checks import free_key
from pinmap.core.errors import InputError
from pinmap.core.facts.parts import terminals
from pinmap.core.loom.cavities import keep_proposed
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import Loom
from pinmap.core.model.people import Right
from pinmap.core.model.words import Gender, NodeKind, natural_key
from pinmap.services import housings, jobs, looms
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import Version, back_to, number, word_of
from pinmap.web.job_pages import job_page, open_job

router = APIRouter(prefix="/jobs/{key}/layout/looms")

Text = Annotated[str, Form()]


@router.get("")
@needs(Right.READ)
def listed(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    job = opened.job
    loom_names = {x.key: x.name for x in job.looms}
    free = [
        (n.key, f"{n.name or n.key}, {loom_names[n.loom]}")
        for n in sorted(job.nodes, key=lambda n: natural_key(n.name or n.key))
        if n.kind is NodeKind.CONNECTOR and n.mates is None and n.key not in opened.snapshot.mating_of
    ]
    return job_page(
        request,
        "layout/looms.html",
        opened,
        "layout",
        lines=looms.loom_lines(opened.analysis),
        matings=looms.mating_lines(opened.analysis),
        free=free,
        names={n.key: n.name or n.key for n in job.nodes},
        loom_names=loom_names,
        housing_options=[(v.housing.key, v.housing.name) for v in housings.list_housings(shop)],
        terminal_options=[(k, t.name) for k, t in terminals().items()],
        genders=[(g.value, "not known" if g is Gender.UNKNOWN else f"{g.value}s") for g in Gender],
    )


def _back(key: str, done: str, variant: str, at: str = "") -> Response:
    return back_to(f"/jobs/{key}/layout/looms#{at}" if at else f"/jobs/{key}/layout/looms", done, variant=variant)


def _loom_key(job: Job) -> str:
    return free_key((x.key for x in job.looms), "loom")


@router.post("")
@needs(Right.BUILD)
def add(shop: ShopDep, key: str, version: Version, name: Text, variant: Text = "") -> Response:
    def change(job: Job, _: Snapshot) -> Job:
        return edits.add_loom(job, Loom(key=_loom_key(job), name=name))

    jobs.edit(shop, key, version, change, f"loom {name} added")
    return _back(key, f"{name} added; begin it on the board", variant)


@router.post("/part")
@needs(Right.BUILD)
def part(
    shop: ShopDep, key: str, version: Version, segment: Text, at_mm: Text, name: Text, loom: Text, variant: Text = ""
) -> Response:
    """Cuts a run with a pair of in-line connectors; what lies beyond is a loom of its own."""

    def change(job: Job, _: Snapshot) -> Job:
        made = Loom(key=_loom_key(job), name=loom)
        return edits.part_loom(job, segment, at_m=number("at_mm", at_mm) / 1000, loom=made, name=name)

    view = jobs.edit(shop, key, version, change, f"loom parted at run {segment}")
    return _back(key, f"{loom} is a loom of its own", variant, view.job.matings[-1].key)


@router.post("/looms/{loom}")
@needs(Right.BUILD)
def change_loom(
    shop: ShopDep, key: str, loom: str, version: Version, name: Text = "", deed: Text = "save", variant: Text = ""
) -> Response:
    def change(job: Job, _: Snapshot) -> Job:
        return edits.remove_loom(job, loom) if deed == "remove" else edits.update_loom(job, loom, name=name)

    jobs.edit(shop, key, version, change, f"loom {loom}: {'removed' if deed == 'remove' else 'renamed'}")
    return _back(key, "Removed" if deed == "remove" else "Saved", variant)


@router.post("/plug")
@needs(Right.BUILD)
def plug(shop: ShopDep, key: str, version: Version, a: Text, b: Text, variant: Text = "") -> Response:
    view = jobs.edit(shop, key, version, lambda job, _: edits.mate_connectors(job, a, b), "looms plugged together")
    return _back(key, "Plugged together", variant, view.job.matings[-1].key)


@router.post("/matings/{mating}")
@needs(Right.BUILD)
def change_mating(shop: ShopDep, key: str, mating: str, version: Version, deed: Text, variant: Text = "") -> Response:
    """Keeps all proposed cavities of the job, or takes two looms apart."""

    def change(job: Job, snapshot: Snapshot) -> Job:
        match deed:
            case "keep":
                return keep_proposed(snapshot, mating)
            case "unplug":
                return edits.unplug(job, mating)
        raise InputError("deed", deed, "choose keep or unplug")

    words = {"keep": "proposed cavities kept", "unplug": "looms taken apart"}.get(deed, deed)
    jobs.edit(shop, key, version, change, f"{mating}: {words}")
    return _back(key, words.capitalize(), variant, mating if deed == "keep" else "")


@router.post("/matings/{mating}/cavity")
@needs(Right.BUILD)
def change_cavity(
    shop: ShopDep,
    key: str,
    mating: str,
    version: Version,
    signal: Text,
    section: Annotated[int, Form(ge=0, lt=1000)] = 0,
    cavity: Text = "",
    variant: Text = "",
) -> Response:
    """Keeps a cavity for a signal; a blank leaves it to the proposal."""

    def change(job: Job, _: Snapshot) -> Job:
        if not cavity.strip():
            return edits.free_cavity(job, mating, signal, section)
        return edits.keep_cavity(job, mating, cavity, signal, section)

    jobs.edit(shop, key, version, change, f"cavity of {signal} at {mating}")
    return _back(key, f"Cavity {cavity} kept" if cavity.strip() else "Left to the proposal", variant, mating)


@router.post("/halves/{node}")
@needs(Right.BUILD)
def change_half(
    shop: ShopDep,
    key: str,
    node: str,
    version: Version,
    name: Text = "",
    housing: Text = "",
    gender: Text = "",
    terminal: Text = "",
    variant: Text = "",
) -> Response:
    """What an in-line connector is."""
    if housing and all(v.housing.key != housing for v in housings.list_housings(shop)):
        raise InputError("housing", housing, "choose a housing from the list")
    if terminal and terminal not in terminals():
        raise InputError("terminal", terminal, "choose a terminal family from the list")
    contacts = word_of(Gender, "gender", gender)

    def change(job: Job, _: Snapshot) -> Job:
        return edits.update_node(job, node, name=name, housing=housing, gender=contacts, terminal=terminal)

    view = jobs.edit(shop, key, version, change, f"connector {name or node} changed")
    mating = view.snapshot.mating_of.get(node)
    return _back(key, "Saved", variant, mating.key if mating is not None else "")
