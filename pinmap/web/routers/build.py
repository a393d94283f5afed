"""Build: the tables and pictures to build by, and the ring-out; of the draft, and of any revision."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.build.splice_table import stagger_words
from pinmap.core.errors import NotFound
from pinmap.core.loom.board import PAPERS, ROLLS_MM
from pinmap.core.model.people import Right
from pinmap.core.model.pinouts import ConnectorKey
from pinmap.core.model.words import Severity
from pinmap.services import bench, bundles, drawings, outputs
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.downloads import download
from pinmap.web.forms import MOST
from pinmap.web.job_pages import JobPage, OpenedDep, job_page

pages = APIRouter()

_FACES_A_PAGE = 12
_LISTS = {
    "cut": ("cut-list", "Cut list", "By spool, the longest first. Label both ends before you cut."),
    "splices": ("splices", "Splices", "Where each splice sits and which wires meet there."),
    "parts": ("parts-list", "Parts list", "For one loom of this variant. Spare terminals: 20 %, common practice."),
    "labels": ("labels", "Labels", "One for each end of each wire."),
}


@pages.get("/build")
@needs(Right.READ)
def table(request: Request, shop: ShopDep, opened: OpenedDep, serial: str = "") -> HTMLResponse:
    done = opened.analysis
    sheet = bench.sheet(shop, done, serial)
    return job_page(
        request,
        "build/table.html",
        opened,
        "build",
        rows=done.build_rows,
        gaps=done.routing.gaps,
        stops=sum(f.severity == Severity.STOP for f in done.findings),
        sheet=sheet,
        begun=any(s.history for s in sheet.states),
    )


@pages.get("/build/faces")
@needs(Right.READ)
def faces(
    request: Request, opened: OpenedDep, connector: str = "", page: Annotated[int, Query(ge=1, le=MOST)] = 1
) -> HTMLResponse:
    keys = drawings.face_keys(opened.snapshot, opened.variant)
    names = {f"{k.platform}|{k.connector}": k for k in keys}
    first = (page - 1) * _FACES_A_PAGE
    shown = (names[connector],) if connector in names else keys[first : first + _FACES_A_PAGE]
    return job_page(
        request,
        "build/faces.html",
        opened,
        "build",
        total=len(keys),
        chosen=connector,
        page_number=page,
        faces=[drawings.face(opened.snapshot, opened.variant, opened.analysis, k) for k in shown],
        halves=drawings.half_faces(opened.analysis) if page == 1 and connector not in names else (),
        more=connector not in names and first + _FACES_A_PAGE < len(keys),
        connectors=[(text, _face_words(opened, k)) for text, k in names.items()],
    )


def _face_words(opened: JobPage, key: ConnectorKey) -> str:
    return f"{opened.snapshot.platform[key.platform].name} {key.connector} {opened.snapshot.connector[key].description}"


@pages.get("/build/plan")
@needs(Right.READ)
def plan(
    request: Request,
    opened: OpenedDep,
    by: str = "",
    segment: str = "",
    stretch: int = 0,
    size: str = "",
    loom: str = "",
) -> HTMLResponse:
    """The overview of one loom or all; with a segment of it, its bundle below, at one of its stretches if named."""
    done, looms = opened.analysis, opened.job.looms
    shown = [s.key for s in opened.job.segments if not loom or s.loom == loom]
    if any(s.key == segment and s.key not in shown for s in opened.job.segments):
        segment = ""  # it was chosen in another loom
    found = bundles.bundle(done, segment, stretch) if segment else None
    drawing = ""
    if opened.job.segments:
        where = f"{opened.home}/build/plan"
        drawing = drawings.plan(opened.snapshot, opened.variant, done, section=where, by=by, chosen=segment, loom=loom)
    return job_page(
        request,
        "build/plan.html",
        opened,
        "build",
        drawing=drawing,
        by=by,
        size=size,
        colours=list(drawings.COLOURED_BY.items()),
        segment=segment,
        segments=[(key, key) for key in shown],
        loom=loom,
        looms=[(x.key, x.name or x.key) for x in looms] if len(looms) > 1 else [],
        bundle=found,
        mass=bundles.mass(done),
        masses=bundles.masses(done),
        papers=[(key, paper.name) for key, paper in PAPERS.items()],
        rolls=[(f"{width:g}", f"{width:g} mm") for width in ROLLS_MM],
        roll_mm=f"{outputs.ROLL_MM:g}",
    )


@pages.get("/build/map")
@needs(Right.READ)
def wiring_map(request: Request, opened: OpenedDep, group: str = "") -> HTMLResponse:
    found = drawings.maps(opened.snapshot, opened.variant, opened.analysis)
    chosen = next((m for m in found if m.title == group), found[0] if found else None)
    return job_page(
        request,
        "build/map.html",
        opened,
        "build",
        groups=[(m.title, m.title) for m in found],
        chosen=chosen.title if chosen else "",
        drawing=chosen.svg if chosen else "",
    )


@pages.get("/build/files/{name}")
@needs(Right.READ)
def file(opened: OpenedDep, name: str, group: str = "", roll_mm: float = outputs.ROLL_MM, loom: str = "") -> Response:
    made = outputs.make(
        opened.snapshot,
        opened.variant,
        name,
        opened.view.dictionary,
        release=opened.release,
        group=group,
        roll_mm=roll_mm,
        loom=loom,
    )
    return download(made)


@pages.get("/build/{name}")
@needs(Right.READ)
def listed(request: Request, opened: OpenedDep, name: str) -> HTMLResponse:
    if name not in _LISTS:
        raise NotFound(f"there is no list {name!r}; there are {', '.join(_LISTS)}")
    stem, title, say = _LISTS[name]
    if name == "splices" and opened.analysis.routing.splices:
        say += " " + stagger_words(opened.snapshot, opened.analysis.routing)
    return job_page(
        request,
        "build/list.html",
        opened,
        "build",
        here=f"/{name}",
        title=title,
        say=say,
        file=stem,
        tables=outputs.tables(opened.analysis)[stem],
        sheet=None,
    )


@pages.get("/prove")
@needs(Right.READ)
def prove(request: Request, shop: ShopDep, opened: OpenedDep, serial: str = "") -> HTMLResponse:
    return job_page(
        request,
        "build/list.html",
        opened,
        "prove",
        here="/prove",
        title="Ring-out",
        file="ring-out",
        say="Loom on the bench, nothing electronic connected. Continuity end to end first, then isolation.",
        tables=outputs.tables(opened.analysis)["ring-out"],
        sheet=bench.sheet(shop, opened.analysis, serial),
    )


router = APIRouter()
router.include_router(pages, prefix="/jobs/{key}")
router.include_router(pages, prefix="/jobs/{key}/revisions/{letter}")
