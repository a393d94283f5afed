"""The board: the loom's topology changed at its picture, one deed at a time; lengths from a photo or sketch."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from pinmap.core.crossing import edits
from pinmap.core.crossing import edits_topology as topology
from pinmap.core.crossing.edit_checks import free_key
from pinmap.core.errors import InputError
from pinmap.core.facts.parts import coverings
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import Fixing, Node, Segment
from pinmap.core.model.people import Right
from pinmap.core.model.words import FixingKind, NodeKind, natural_key
from pinmap.services import bundles, drawings, jobs
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import Version, back_to, number, word_of
from pinmap.web.job_pages import JobPage, job_page, open_job
from pinmap.web.loom_parts import fresh_key, unplaced_connectors, with_connector, with_loom

router = APIRouter(prefix="/jobs/{key}/layout/board")

Text = Annotated[str, Form()]
IN_LINE = "in-line"  # what grows: a connector that is to plug into another loom


@router.get("")
@needs(Right.READ)
def board(request: Request, shop: ShopDep, key: str, variant: str = "", run: str = "", node: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    job = opened.job
    chosen_run = next((s for s in job.segments if s.key == run), None)
    chosen_node = next((n for n in job.nodes if n.key == node), None)
    return job_page(
        request,
        "layout/board.html",
        opened,
        "layout",
        run=chosen_run,
        node=chosen_node,
        at_node=[_end(job, s, node) for s in job.segments if chosen_node and node in (s.a, s.b)],
        names=_names(job),
        looms=[(x.key, x.name) for x in job.looms],
        loom_names={x.key: x.name for x in job.looms},
        nodes=sorted(job.nodes, key=lambda n: natural_key(n.name or n.key)),
        zone_options=[(z.key, f"{z.name}, {z.ambient_c:g} °C") for z in job.zones],
        coverings=coverings(),
        unplaced=unplaced_connectors(opened.snapshot, opened.variant),
        picture=_picture(opened),
        fixings=bundles.fits(opened.analysis, chosen_run) if chosen_run is not None else (),
        fixing_kinds=[(k.value, k.value) for k in FixingKind],
    )


def _names(job: Job) -> dict[str, str]:
    return {n.key: n.name or n.key for n in job.nodes}


def _end(job: Job, segment: Segment, node: str) -> dict[str, object]:
    """A run as seen from one of its nodes."""
    far = segment.b if segment.a == node else segment.a
    return {
        "key": segment.key,
        "length_mm": segment.length_m * 1000,
        "end": "a" if segment.a == node else "b",
        "far": _names(job)[far],
    }


def _picture(opened: JobPage) -> str:
    if not opened.job.nodes:
        return ""
    board = f"{opened.home}/layout/board"
    return drawings.plan(opened.snapshot, opened.variant, opened.analysis, board=board)


def _mm(field: str, text: str) -> float:
    return number(field, text) / 1000


@router.post("/runs/{segment}")
@needs(Right.BUILD)
def change_run(
    shop: ShopDep,
    key: str,
    segment: str,
    version: Version,
    deed: Text,
    variant: Text = "",
    length_mm: Text = "",
    zone: Text = "",
    covering: Text = "",
    at_mm: Text = "",
    name: Text = "",
    end: Text = "",
    to: Text = "",
    keep: Text = "",
) -> Response:
    """One deed done to a run."""

    def change(job: Job, _: Snapshot) -> Job:
        match deed:
            case "save":
                return edits.update_segment(
                    job, segment, length_m=_mm("length_mm", length_mm), zone=zone, covering=covering
                )
            case "split":
                point = Node(key=fresh_key(job, "j"), loom="", kind=NodeKind.JUNCTION, name=name)
                return topology.split(job, segment, at_m=_mm("at_mm", at_mm), node=point, rest=fresh_key(job, "r"))
            case "rehang":
                return topology.rehang(job, segment, end=end, to=to)
            case "draw":
                return topology.draw_together(job, segment, keep=keep)
            case "remove":
                return edits.remove_segment(job, segment)
        raise InputError("deed", deed, "choose save, split, rehang, draw or remove")

    jobs.edit(shop, key, version, change, f"run {segment}: {_RUN_WORDS.get(deed, deed)}")
    return _back(key, "Done", variant, **({"node": keep} if deed == "draw" else {"run": segment}))


@router.post("/runs/{segment}/fixings")
@needs(Right.BUILD)
def add_fixing(
    shop: ShopDep,
    key: str,
    segment: str,
    version: Version,
    kind: Text,
    variant: Text = "",
    at_mm: Text = "",
    inner_mm: Text = "",
    part: Text = "",
) -> Response:
    """A clip, grommet or backshell clamp on a run."""

    def change(job: Job, _: Snapshot) -> Job:
        what = word_of(FixingKind, "kind", kind)
        new = Fixing(
            key=free_key((f.key for f in job.fixings), what.value[0]), segment=segment, kind=what,
            at_m=_mm("at_mm", at_mm), inner_mm=number("inner_mm", inner_mm), part=part,
        )  # fmt: skip
        return edits.add_fixing(job, new)

    jobs.edit(shop, key, version, change, f"{kind} on run {segment}")
    return _back(key, "Added", variant, run=segment)


@router.post("/fixings/{fixing}")
@needs(Right.BUILD)
def change_fixing(
    shop: ShopDep,
    key: str,
    fixing: str,
    version: Version,
    deed: Text,
    variant: Text = "",
    run: Text = "",
    kind: Text = "",
    at_mm: Text = "",
    inner_mm: Text = "",
    part: Text = "",
) -> Response:
    """Changes or removes one."""

    def change(job: Job, _: Snapshot) -> Job:
        match deed:
            case "save":
                at_m, wide_mm = _mm("at_mm", at_mm), number("inner_mm", inner_mm)
                what = word_of(FixingKind, "kind", kind)
                return edits.update_fixing(job, fixing, kind=what, at_m=at_m, inner_mm=wide_mm, part=part)
            case "remove":
                return edits.remove_fixing(job, fixing)
        raise InputError("deed", deed, "choose save or remove")

    jobs.edit(shop, key, version, change, f"fixing {fixing}: {_RUN_WORDS.get(deed, deed)}")
    return _back(key, "Done", variant, run=run)


@router.post("/nodes/{node}")
@needs(Right.BUILD)
def change_node(
    shop: ShopDep,
    key: str,
    node: str,
    version: Version,
    deed: Text,
    variant: Text = "",
    name: Text = "",
    out_of: Text = "",
    into: Text = "",
    by_mm: Text = "",
) -> Response:
    """One deed done to a connector, branch point or place."""

    def change(job: Job, _: Snapshot) -> Job:
        match deed:
            case "save":
                return edits.update_node(job, node, name=name)
            case "slide":
                return topology.slide(job, node, out_of=out_of, into=into, by_m=_mm("by_mm", by_mm))
            case "one":
                return topology.make_one(job, node)
            case "take out":
                return topology.take_out(job, node)
        raise InputError("deed", deed, "choose save, slide, one or take out")

    jobs.edit(shop, key, version, change, f"{node}: {_NODE_WORDS.get(deed, deed)}")
    return _back(key, "Done", variant, node=node)


@router.post("/grow")
@needs(Right.BUILD)
def grow(
    shop: ShopDep,
    key: str,
    version: Version,
    what: Text,
    variant: Text = "",
    at: Text = "",
    name: Text = "",
    length_mm: Text = "",
    zone: Text = "",
    loom: Text = "",
) -> Response:
    """A run from a node to something new: a connector that has no place yet, one that is to plug into another loom, a
    branch point, a place for devices. An empty ``at`` begins ``loom``."""

    def change(job: Job, snapshot: Snapshot) -> Job:
        job, within = with_loom(job, at, loom)
        if what in (NodeKind.JUNCTION, NodeKind.PLACE):
            kind = NodeKind(what)
            new = fresh_key(job, "j" if kind is NodeKind.JUNCTION else "p")
            job = edits.add_node(job, Node(key=new, loom=within, kind=kind, name=name))
        elif what == IN_LINE:
            new = fresh_key(job, "x")
            job = edits.add_node(job, Node(key=new, loom=within, kind=NodeKind.CONNECTOR, name=name))
        else:
            job, new = with_connector(job, snapshot, within, what)
        if not at:
            return job
        run = Segment(
            key=fresh_key(job, "r"), loom=within, a=at, b=new, length_m=_mm("length_mm", length_mm), zone=zone
        )
        return edits.add_segment(job, run)

    view = jobs.edit(shop, key, version, change, f"new at {at}" if at else "loom begun")
    return _back(key, "Added", variant, node=view.job.nodes[-1].key)


@router.post("/picture")
@needs(Right.BUILD)
async def from_picture(request: Request, shop: ShopDep, key: str, version: Version) -> Response:
    """Lengths by their ratio on a photo or sketch; fields ``on-<run>`` in any one unit."""
    form = {k: str(v) for k, v in (await request.form()).items()}
    typed = {k.removeprefix("on-"): v for k, v in form.items() if k.startswith("on-") and v.strip()}

    def change(job: Job, _: Snapshot) -> Job:
        measured = {run: number(f"{run} on the picture", text) for run, text in typed.items()}
        return topology.lengths_by_ratio(
            job, measured, reference=form.get("reference", ""), true_m=_mm("true_mm", form.get("true_mm", ""))
        )

    await run_in_threadpool(jobs.edit, shop, key, version, change, f"{len(typed)} lengths from a picture")
    return _back(key, f"{len(typed)} lengths taken", form.get("variant", ""))


_RUN_WORDS = {"save": "changed", "split": "cut in two", "rehang": "hung elsewhere", "draw": "drawn together",
              "remove": "removed"}  # fmt: skip
_NODE_WORDS = {"save": "renamed", "slide": "moved along", "one": "its two runs made one", "take out": "taken out"}


def _back(key: str, done: str, variant: str, **chosen: str) -> Response:
    return back_to(f"/jobs/{key}/layout/board#board", done, variant=variant, **chosen)
