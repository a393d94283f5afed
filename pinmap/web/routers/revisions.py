"""Revisions: open one as it was, lay two side by side, make one the draft again, branch one for a customer."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.build.comparison import Turn
from pinmap.core.model.people import Right
from pinmap.exchange.build_tables import rework_table
from pinmap.exchange.tables_csv import write_csv
from pinmap.services import bench, comparing, jobs, revisions
from pinmap.services.outputs import MEDIA, Output, safe_name
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.downloads import download
from pinmap.web.forms import MOST, Version, back_to
from pinmap.web.job_pages import OpenedDep, job_page, open_job

router = APIRouter(prefix="/jobs/{key}")


@router.get("/revisions/{letter}")
@needs(Right.READ)
def show(request: Request, shop: ShopDep, opened: OpenedDep, key: str, letter: str) -> HTMLResponse:
    letters = [line.letter for line in revisions.list_revisions(shop, key)]
    at = letters.index(letter)
    return job_page(
        request,
        "revisions/page.html",
        opened,
        "revision",
        now=jobs.get(shop, key).version,
        looms=bench.summaries(shop, opened.snapshot, opened.view.dictionary),
        pairs=[(x, x, letter) for x in letters[:at]] + [(x, letter, x) for x in letters[at + 1 :]],
    )


@router.get("/revisions/{letter}/findings")
@needs(Right.READ)
def findings(request: Request, opened: OpenedDep, letter: str) -> HTMLResponse:  # noqa: ARG001  (opened reads it)
    return job_page(request, "revisions/findings.html", opened, "findings")


@router.get("/compare")
@needs(Right.READ)
def compare(
    request: Request, shop: ShopDep, key: str, old: str = "", new: str = comparing.DRAFT, variant: str = ""
) -> HTMLResponse:
    lines = revisions.list_revisions(shop, key)
    older = old or (lines[-1].letter if lines else "")
    found = comparing.compared(shop, key, older, new, variant)
    letters = [(line.letter, f"revision {line.letter}, {line.created:%Y-%m-%d}") for line in lines]
    return job_page(
        request,
        "revisions/compare.html",
        open_job(shop, key),
        "handover",
        c=found,
        turns=list(Turn),
        older_options=letters or [("", "the draft of now")],
        newer_options=[(comparing.DRAFT, "the draft of now"), *letters],
    )


@router.get("/compare/files/rework.csv")
@needs(Right.READ)
def rework_file(shop: ShopDep, key: str, old: str, new: str = comparing.DRAFT, variant: str = "") -> Response:
    found = comparing.compared(shop, key, old, new, variant)
    name = f"{safe_name(key)}_{safe_name(old)}-to-{safe_name(new or 'draft')}_rework.csv"
    return download(Output(name, write_csv(rework_table(found.tasks), mark=True), MEDIA["csv"]))


@router.post("/revisions/{letter}/restore")
@needs(Right.BUILD)
def restore(shop: ShopDep, key: str, letter: str, version: Version) -> Response:
    revisions.restore(shop, key, letter, version, shop.actor.name)
    said = f"Revision {letter} is the draft again; the draft that stood here is kept below"
    return back_to(f"/jobs/{key}/handover#kept", said)


@router.post("/revisions/{letter}/branch")
@needs(Right.BUILD)
def branch(
    shop: ShopDep,
    key: str,
    letter: str,
    name: Annotated[str, Form()],
    customer: Annotated[str, Form()] = "",
    note: Annotated[str, Form()] = "",
) -> Response:
    made = revisions.branch(shop, key, letter, name=name, customer=customer, note=note, who=shop.actor.name)
    return back_to(f"/jobs/{made.job.key}", f"Branched from revision {letter}")


@router.post("/kept/{draft}/bring-back")
@needs(Right.BUILD)
def bring_back(shop: ShopDep, key: str, draft: Annotated[int, Path(ge=0, le=MOST)], version: Version) -> Response:
    revisions.bring_back(shop, key, draft, version, shop.actor.name)
    return back_to(f"/jobs/{key}/handover#kept", "The kept draft is the draft again; the one that stood here is kept")
