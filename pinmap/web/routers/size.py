"""Sizing: the proposal with its reasons, and its way into the job after confirmation."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.errors import StructureError
from pinmap.core.model.people import Right
from pinmap.services import jobs, sizing
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import Version, back_to
from pinmap.web.job_pages import job_page, open_job

router = APIRouter(prefix="/jobs/{key}/check/sizing")


@router.get("")
@needs(Right.READ)
def proposal(
    request: Request, shop: ShopDep, key: str, variant: str = "", signal: str = "", feed: str = "", whole: str = ""
) -> HTMLResponse:
    """Asks first what to size: the whole job may take a minute."""
    opened = open_job(shop, key, variant)
    done = opened.analysis
    words = opened.view.dictionary
    proposal = None
    if signal or feed or whole:
        proposal = sizing.propose(opened.snapshot, words, sizing.wires_of(done, signal, feed))
    labels = [opened.snapshot.variant_label(v) for v in opened.snapshot.variants]
    return job_page(
        request,
        "check/sizing.html",
        opened,
        "check",
        proposal=proposal,
        lines=sizing.lines(opened.snapshot, words, proposal) if proposal else (),
        stamp=sizing.stamp(proposal) if proposal else "",
        whole=whole,
        labels=labels,
        signal=signal,
        feed=feed,
        feeds=[(str(f.source), f.label) for f in sizing.feed_reports(done)],
        signals=[(s.key, f"{s.number} {s.name}") for s in opened.job.signals],
    )


@router.post("")
@needs(Right.BUILD)
def apply(
    shop: ShopDep,
    key: str,
    version: Version,
    variant: Annotated[str, Form()] = "",
    signal: Annotated[str, Form()] = "",
    feed: Annotated[str, Form()] = "",
    stamp: Annotated[str, Form()] = "",
) -> Response:
    opened = open_job(shop, key, variant)
    proposal = sizing.propose(opened.snapshot, opened.view.dictionary, sizing.wires_of(opened.analysis, signal, feed))
    if stamp != sizing.stamp(proposal):
        raise StructureError("the proposal is not the one that was shown; look at the list again before you set it")
    jobs.edit(shop, key, version, lambda job, _: sizing.apply_to(job, proposal), "proposed sizes")
    return back_to(f"/jobs/{key}/check/wires", "The proposed sizes are in the job")
