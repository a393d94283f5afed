"""One job: overview, gathering, settings, job file out, copy, delete."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from pinmap.core.crossing import edits
from pinmap.core.electrics.heat_rules import RULE_NAMES
from pinmap.core.electrics.supply_cases import load_cases, nominal_v, profile_v
from pinmap.core.errors import InputError
from pinmap.core.facts.circuit import STARTING_PROFILES
from pinmap.core.facts.conductors import insulations
from pinmap.core.model.jobs import LOWEST, MODEL, PLATEAU, Job, Pick, Practice, Snapshot
from pinmap.core.model.people import Right
from pinmap.core.model.words import Evidence, Fate
from pinmap.services import jobs, outputs, platforms, questions, revisions, undo
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.downloads import download
from pinmap.web.forms import Version, attribute_of, back_to, number
from pinmap.web.job_pages import JobPage, job_page, open_job

router = APIRouter(prefix="/jobs/{key}")

_OPEN = (Fate.UNDECIDED, Fate.DEFERRED)
_NUMBERS = (  # by what they are for; a length is stored in metres and typed in millimetres, as a builder says it
    (
        "Limits",
        (
            ("min_mm2", "Least wire size mm²"),
            ("drop_critical_pct", "Drop, critical loads %"),
            ("drop_other_pct", "Drop, other loads %"),
        ),
    ),
    (
        "Cutting",
        (
            ("service_loop_mm", "Service loop mm"),
            ("strip_mm", "Strip mm"),
            ("connector_run_in_mm", "Run-in at a connector mm"),
            ("bend_pct", "Bend allowance %"),
            ("tolerance_mm", "Tolerance of a wire mm"),
            ("cut_step_mm", "Cut step mm"),
            ("twist_take_up_pct", "Twist take-up %"),
            ("max_untwisted_mm", "Most untwisted mm"),
        ),
    ),
    (
        "Splices and ways",
        (
            ("splice_overlap_mm", "Splice overlap mm"),
            ("splice_cost_g", "A splice is worth, g of copper"),
            ("max_splices", "Most splices in a net, 0: any"),
            ("max_splice_wires", "Most wires in a splice, 0: any"),
            ("splice_clear_mm", "Splice clear of connectors mm"),
            ("splice_apart_mm", "Splices apart mm, 0: as they come"),
            ("avoid_factor", "A metre to avoid counts as"),
        ),
    ),
)


def _units(name: str) -> float:
    """How many of the form's units one of the practice's is."""
    return 1000 if name.endswith("_mm") else 1


def _number_fields(practice: Practice) -> list[tuple[str, list[tuple[str, str, float]]]]:
    """The form's numbers with their values, by group."""
    return [
        (group, [(name, words, getattr(practice, attribute_of(name)) * _units(name)) for name, words in named])
        for group, named in _NUMBERS
    ]


def _numbers_typed(form: Mapping[str, str]) -> dict[str, float]:
    """Attributes of the practice from the form. Raises InputError that names the field."""
    return {
        attribute_of(name): number(name, form.get(name, ""), least=0) / _units(name)
        for _, named in _NUMBERS
        for name, _ in named
    }


def _sides(opened: JobPage) -> list[dict[str, object]]:
    """One line a platform: how many of its pins have which fate."""
    rows = []
    for seat in opened.job.seats:
        for key in dict.fromkeys(pick.platform for pick in seat.picks):
            counts = opened.ledger.counts.get(key, {})
            total = sum(counts.values())
            undecided = sum(counts.get(f, 0) for f in _OPEN)
            joined = counts.get(Fate.JOINED, 0)
            rows.append(
                {
                    "seat": seat.name,
                    "platform": opened.snapshot.platform[key],
                    "pins": total,
                    "joined": joined,
                    "other": total - joined - undecided,
                    "open": undecided,
                    "editions": [p.edition for p in seat.picks if p.platform == key and p.edition],
                }
            )
    return rows


@router.get("")
@needs(Right.READ)
def overview(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    return job_page(
        request,
        "jobs/overview.html",
        opened,
        "overview",
        sides=_sides(opened),
        origin=revisions.lineage(shop, key).origin,
        unread=sum(q.settled is None for q in questions.of_job(shop, key)),
    )


@router.get("/gather")
@needs(Right.READ)
def gather(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    known = {p.key: Counter(pin.evidence for pin in p.pins) for p in opened.snapshot.platforms}
    return job_page(
        request, "jobs/gather.html", opened, "gather", sides=_sides(opened), known=known, levels=list(Evidence)
    )


def _profiles(volts: float) -> list[tuple[str, str]]:
    """Every phase of every starting profile at this nominal voltage."""
    return [
        (f"{p.level} {phase}", f"ISO 16750-2 level {p.level}, {phase}: {profile_v(p, phase):g} V")
        for p in STARTING_PROFILES if p.nominal_v == volts for phase in (LOWEST, PLATEAU)
    ]  # fmt: skip


@router.get("/settings")
@needs(Right.READ)
def settings(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    found = [platforms.get(shop, row.key).platform for row in platforms.list_platforms(shop)]
    free = [
        (f"{p.key}|{edition.key if edition else ''}", f"{p.name}{', ' + edition.name if edition else ''}")
        for p in found
        for edition in p.editions or (None,)
    ]
    return job_page(
        request,
        "jobs/settings.html",
        opened,
        "settings",
        numbers=_number_fields(opened.job.practice),
        insulations=insulations(),
        free=free,
        profiles=_profiles(nominal_v(opened.snapshot)),
        supplied={c.key: c for c in load_cases(opened.snapshot)},
        heat_rules=[
            (key, f"{name} of each bundle" if key == MODEL else f"table of {name}") for key, name in RULE_NAMES.items()
        ],
    )


@router.post("/settings")
@needs(Right.BUILD)
async def save_settings(request: Request, shop: ShopDep, key: str, version: Version) -> Response:
    form = {k: str(v) for k, v in (await request.form()).items()}

    def change(job: Job, _: Snapshot) -> Job:
        stock = tuple(number("stock_mm2", part) for part in form.get("stock_mm2", "").replace(";", " ").split())
        job = edits.update_job(
            job, name=form.get("name", ""), customer=form.get("customer", ""), note=form.get("note", "")
        )
        return edits.update_practice(
            job,
            **_numbers_typed(form),
            stock_mm2=stock,
            insulation=form.get("insulation", ""),
            units=form.get("units", "metric"),
            heat_rule=form.get("heat_rule", job.practice.heat_rule),
        )

    await run_in_threadpool(jobs.edit, shop, key, version, change, "settings changed")
    return back_to(f"/jobs/{key}/settings", "Saved")


@router.post("/seats")
@needs(Right.BUILD)
def change_seats(
    shop: ShopDep,
    key: str,
    version: Version,
    seat: Annotated[str, Form()],
    pick: Annotated[str, Form()],
    deed: Annotated[str, Form()],
) -> Response:
    platform, _, edition = pick.partition("|")
    chosen = Pick(platform, edition)

    def change(job: Job, _: Snapshot) -> Job:
        match deed:
            case "add":
                return edits.add_pick(job, seat, chosen)
            case "remove":
                return edits.remove_pick(job, seat, chosen)
        raise InputError("deed", deed, "choose add or remove")

    jobs.edit(shop, key, version, change, f"pick {pick}: {deed}")
    return back_to(f"/jobs/{key}/settings", "Done")


@router.post("/undo")
@needs(Right.BUILD)
def take_back(shop: ShopDep, key: str, version: Version, page: Annotated[str, Form()] = "") -> Response:
    _, what = undo.undo(shop, key, version)
    return back_to(_page_of(key, page), f"Taken back: {what}")


@router.post("/redo")
@needs(Right.BUILD)
def make_again(shop: ShopDep, key: str, version: Version, page: Annotated[str, Form()] = "") -> Response:
    _, what = undo.redo(shop, key, version)
    return back_to(_page_of(key, page), f"Made again: {what}")


def _page_of(key: str, page: str) -> str:
    """The page of this job on which the button stood, else its overview."""
    home = f"/jobs/{key}"
    return page if page.startswith(f"{home}/") and ".." not in page else home


@router.post("/load-cases")
@needs(Right.BUILD)
async def change_load_case(request: Request, shop: ShopDep, key: str, version: Version) -> Response:
    """One load case: name, supply, and for cranking a starting profile."""
    form = {k: str(v) for k, v in (await request.form()).items()}
    profile, _, phase = form.get("profile", "").partition(" ")

    def change(job: Job, _: Snapshot) -> Job:
        return edits.update_load_case(
            job, form.get("case", ""), name=form.get("name", ""), source=form.get("source", ""),
            supply_v=number("supply_v", form.get("supply_v", "")), profile=profile, phase=phase,
        )  # fmt: skip

    await run_in_threadpool(jobs.edit, shop, key, version, change, f"load case {form.get('case', '')}")
    return back_to(f"/jobs/{key}/settings", "Saved")


@router.post("/copy")
@needs(Right.BUILD)
def copy(shop: ShopDep, key: str, name: Annotated[str, Form()]) -> Response:
    view = jobs.copy(shop, key, "", name)
    return back_to(f"/jobs/{view.job.key}", "Copied")


@router.post("/delete")
@needs(Right.BUILD)
def delete(shop: ShopDep, key: str, version: Version) -> Response:
    jobs.delete(shop, key, version)
    return back_to("/", "The job was deleted; its platforms stay")


@router.get("/job.json")
@needs(Right.READ)
def job_file(shop: ShopDep, key: str) -> Response:
    return download(outputs.job_file(jobs.get(shop, key).snapshot))
