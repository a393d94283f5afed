"""Lay out: the loom's connectors, branch points, runs and zones."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.crossing import edits
from pinmap.core.errors import InputError
from pinmap.core.facts.parts import coverings
from pinmap.core.loom.wire_kinds import WIRE_KINDS
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import Node, Segment, Zone
from pinmap.core.model.people import Right
from pinmap.core.model.words import NodeKind, natural_key
from pinmap.services import drawings, jobs
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import Version, back_to, number, number_or_none
from pinmap.web.job_pages import job_page, open_job
from pinmap.web.loom_parts import fresh_key, unplaced_connectors, with_connector, with_loom

router = APIRouter(prefix="/jobs/{key}/layout")


@router.get("")
@needs(Right.READ)
def layout(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    snapshot, job = opened.snapshot, opened.job
    done = opened.analysis
    return job_page(
        request,
        "layout/page.html",
        opened,
        "layout",
        unplaced=unplaced_connectors(snapshot, opened.variant),
        nodes=sorted(job.nodes, key=lambda n: (n.kind, natural_key(n.name or n.key))),
        names={n.key: n.name or n.key for n in job.nodes},
        zone_options=[(z.key, f"{z.name}, {z.ambient_c:g} °C") for z in job.zones],
        coverings=coverings(),
        kinds=WIRE_KINDS,
        bundle=done.routing.bundle,
        diameters={s: done.bundles.diameter_mm(s) for s in done.routing.bundle},
        drawing=drawings.plan(snapshot, opened.variant, done) if job.segments else "",
    )


def _run_to(job: Job, loom: str, at: str, node: str, length_mm: str, zone: str) -> Job:
    """A run from an existing node to a new one."""
    metres = number("length_mm", length_mm) / 1000
    return edits.add_segment(job, Segment(key=fresh_key(job, "r"), loom=loom, a=at, b=node, length_m=metres, zone=zone))


@router.post("/place")
@needs(Right.BUILD)
def place(
    shop: ShopDep,
    key: str,
    version: Version,
    connector: Annotated[str, Form()],
    at: Annotated[str, Form()] = "",
    length_mm: Annotated[str, Form()] = "",
    zone: Annotated[str, Form()] = "",
) -> Response:
    """A connector of the loom at the end of a run."""
    name = connector.partition("|")[2]

    def change(job: Job, snapshot: Snapshot) -> Job:
        job, loom = with_loom(job, at)
        job, node = with_connector(job, snapshot, loom, connector)
        return _run_to(job, loom, at, node, length_mm, zone) if at else job

    jobs.edit(shop, key, version, change, f"connector {name} placed")
    return back_to(f"/jobs/{key}/layout", f"{name} has a place")


@router.post("/nodes")
@needs(Right.BUILD)
def add_node(
    shop: ShopDep,
    key: str,
    version: Version,
    kind: Annotated[str, Form()],
    name: Annotated[str, Form()],
    at: Annotated[str, Form()] = "",
    length_mm: Annotated[str, Form()] = "",
    zone: Annotated[str, Form()] = "",
) -> Response:
    def change(job: Job, _: Snapshot) -> Job:
        job, loom = with_loom(job, at)
        what = NodeKind.PLACE if kind == NodeKind.PLACE else NodeKind.JUNCTION
        node = fresh_key(job, "p" if what == NodeKind.PLACE else "j")
        job = edits.add_node(job, Node(key=node, loom=loom, kind=what, name=name))
        return _run_to(job, loom, at, node, length_mm, zone) if at else job

    jobs.edit(shop, key, version, change, f"{kind} {name} added")
    return back_to(f"/jobs/{key}/layout", f"{name} added")


@router.post("/nodes/{node}")
@needs(Right.BUILD)
def change_node(
    shop: ShopDep,
    key: str,
    node: str,
    version: Version,
    name: Annotated[str, Form()] = "",
    deed: Annotated[str, Form()] = "save",
) -> Response:
    def change(job: Job, _: Snapshot) -> Job:
        return edits.remove_node(job, node) if deed == "remove" else edits.update_node(job, node, name=name)

    jobs.edit(shop, key, version, change, f"node {node}: {deed}")
    return back_to(f"/jobs/{key}/layout#nodes", "Removed" if deed == "remove" else "Saved")


@router.post("/segments")
@needs(Right.BUILD)
def add_segment(
    shop: ShopDep,
    key: str,
    version: Version,
    a: Annotated[str, Form()],
    b: Annotated[str, Form()],
    length_mm: Annotated[str, Form()],
    zone: Annotated[str, Form()] = "",
) -> Response:
    def change(job: Job, _: Snapshot) -> Job:
        job, loom = with_loom(job, a)
        return _run_to(job, loom, a, b, length_mm, zone)

    jobs.edit(shop, key, version, change, "run added")
    return back_to(f"/jobs/{key}/layout#segments", "Run added")


@router.post("/segments/{segment}")
@needs(Right.BUILD)
def change_segment(
    shop: ShopDep,
    key: str,
    segment: str,
    version: Version,
    length_mm: Annotated[str, Form()] = "",
    zone: Annotated[str, Form()] = "",
    covering: Annotated[str, Form()] = "",
    deed: Annotated[str, Form()] = "save",
) -> Response:
    def change(job: Job, _: Snapshot) -> Job:
        if deed == "remove":
            return edits.remove_segment(job, segment)
        metres = number("length_mm", length_mm) / 1000
        return edits.update_segment(job, segment, length_m=metres, zone=zone, covering=covering)

    jobs.edit(shop, key, version, change, f"run {segment}: {deed}")
    return back_to(f"/jobs/{key}/layout#segments", "Removed" if deed == "remove" else "Saved")


def _kinds(way: list[str], deed: str) -> tuple[str, ...]:
    """The kinds of wire for which a zone's form says ``deed``, such as "avoid:sensor"."""
    return tuple(kind for choice in way for verb, _, kind in [choice.partition(":")] if verb == deed)


@router.post("/zones")
@needs(Right.BUILD)
def add_zone(
    shop: ShopDep,
    key: str,
    version: Version,
    name: Annotated[str, Form()],
    ambient_c: Annotated[str, Form()],
    wet: Annotated[str, Form()] = "",
    moving: Annotated[str, Form()] = "",
    hot: Annotated[str, Form()] = "",
    no_splice: Annotated[str, Form()] = "",
) -> Response:
    def change(job: Job, _: Snapshot) -> Job:
        return edits.add_zone(
            job,
            Zone(
                key=fresh_key(job, "z"),
                name=name,
                ambient_c=number("ambient_c", ambient_c),
                wet=bool(wet),
                moving=bool(moving),
                hot=bool(hot),
                no_splice=bool(no_splice),
            ),
        )

    jobs.edit(shop, key, version, change, f"zone {name} added")
    return back_to(f"/jobs/{key}/layout#zones", f"{name} added")


@router.post("/zones/{zone}")
@needs(Right.BUILD)
def change_zone(
    shop: ShopDep,
    key: str,
    zone: str,
    version: Version,
    name: Annotated[str, Form()] = "",
    ambient_c: Annotated[str, Form()] = "",
    wet: Annotated[str, Form()] = "",
    moving: Annotated[str, Form()] = "",
    hot: Annotated[str, Form()] = "",
    no_splice: Annotated[str, Form()] = "",
    way: Annotated[list[str], Form()] = [],  # noqa: B006 - FastAPI copies form defaults
    deed: Annotated[str, Form()] = "save",
) -> Response:
    def change(job: Job, _: Snapshot) -> Job:
        if deed == "remove":
            return edits.remove_zone(job, zone)
        ambient = number_or_none("ambient_c", ambient_c)
        if ambient is None:
            raise InputError("ambient_c", ambient_c, "say how hot the air gets, such as 85")
        return edits.update_zone(
            job,
            zone,
            name=name,
            ambient_c=ambient,
            wet=bool(wet),
            moving=bool(moving),
            hot=bool(hot),
            no_splice=bool(no_splice),
            avoid=_kinds(way, "avoid"),
            forbid=_kinds(way, "forbid"),
        )

    jobs.edit(shop, key, version, change, f"zone {zone}: {deed}")
    return back_to(f"/jobs/{key}/layout#zones", "Removed" if deed == "remove" else "Saved")
