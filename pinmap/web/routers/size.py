"""Sizing: the proposal with its reasons, and its way into the job after confirmation."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from pinmap.core.errors import StructureError
from pinmap.core.model.people import Right
from pinmap.services import jobs, size_search, sizing
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import Version, back_to
from pinmap.web.job_pages import job_page, open_job
from pinmap.web.render import page

router = APIRouter(prefix="/jobs/{key}/check/sizing")


@router.get("")
@needs(Right.READ)
def proposal(
    request: Request, shop: ShopDep, key: str, variant: str = "", signal: str = "", feed: str = "", whole: str = ""
) -> HTMLResponse:
    """Asks first what to size. A search that takes longer goes on while the page shows how far it is."""
    opened = open_job(shop, key, variant)
    done, words = opened.analysis, opened.view.dictionary
    search, asked = None, ""
    if signal or feed or whole:
        scope = sizing.wires_of(done, signal, feed)
        asked = size_search.question(opened.snapshot, words, scope)
        search = size_search.search(shop, key, opened.snapshot, words, scope, size_search.PATIENCE_S)
    return job_page(
        request,
        "check/sizing.html",
        opened,
        "check",
        search=search,
        asked=asked,
        proposal=search.proposal if search else None,
        whole=whole,
        signal=signal,
        feed=feed,
        feeds=[(str(f.source), f.label) for f in sizing.feed_reports(done)],
        signals=[(s.key, f"{s.number} {s.name}") for s in opened.job.signals],
    )


@router.get("/progress")
@needs(Right.READ)
def progress(
    request: Request, shop: ShopDep, key: str, variant: str = "", signal: str = "", feed: str = "", whole: str = ""
) -> HTMLResponse:
    """Asked for again and again while a search goes on; tells the page to load anew when it has ended."""
    opened = open_job(shop, key, variant)
    scope = sizing.wires_of(opened.analysis, signal, feed)
    search = size_search.standing(shop, key, size_search.question(opened.snapshot, opened.view.dictionary, scope))
    answer = page(
        request, "check/_progress.html", search=search, home=f"/jobs/{key}", variant=opened.snapshot.variant(variant),
        signal=signal, feed=feed, whole=whole,
    )  # fmt: skip
    if search.ended:
        answer.headers["HX-Refresh"] = "true"
    return answer


@router.post("/stop")
@needs(Right.READ)
def stop(
    shop: ShopDep, key: str, variant: Annotated[str, Form()] = "", signal: Annotated[str, Form()] = "",
    feed: Annotated[str, Form()] = "", whole: Annotated[str, Form()] = "",
) -> Response:  # fmt: skip
    """Ends a search with the best found so far, which the page shows as soon as it is written out."""
    opened = open_job(shop, key, variant)
    scope = sizing.wires_of(opened.analysis, signal, feed)
    size_search.stop(shop, key, size_search.question(opened.snapshot, opened.view.dictionary, scope))
    asked = {"variant": opened.variant.key, "signal": signal, "feed": feed, "whole": whole}
    return RedirectResponse(f"/jobs/{key}/check/sizing?{urlencode(asked)}", 303)


@router.post("")
@needs(Right.BUILD)
def apply(
    shop: ShopDep,
    key: str,
    version: Version,
    asked: Annotated[str, Form()] = "",
    stamp: Annotated[str, Form()] = "",
) -> Response:
    proposal = size_search.standing(shop, key, asked).proposal
    if proposal is None or stamp != proposal.stamp:
        raise StructureError("the proposal is not the one that was shown; look at the list again before you set it")
    jobs.edit(shop, key, version, lambda job, _: sizing.apply_to(job, proposal), "proposed sizes")
    return back_to(f"/jobs/{key}/check/wires", "The proposed sizes are in the job")
