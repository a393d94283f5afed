"""Protection, the voltage ladder of a load, and the temperature along a wire."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from pinmap.core.electrics.heat_rules import RULE_NAMES
from pinmap.core.electrics.ladder import along, ladder
from pinmap.core.model.people import Right
from pinmap.drawings.charts import along_chart, fuse_chart, ladder_chart
from pinmap.services import analysis, sizing
from pinmap.services.drawings import Svg
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.job_pages import job_page, open_job

router = APIRouter(prefix="/jobs/{key}/check")


@router.get("/protection")
@needs(Right.READ)
def protection(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    feeds = sizing.feed_reports(opened.analysis)
    charts = {id(f): Svg(fuse_chart(f)) for feed in feeds for f in feed.fuses if f.curve is not None}
    return job_page(request, "check/protection.html", opened, "check", feeds=feeds, charts=charts, id=id)


@router.get("/ladder")
@needs(Right.READ)
def voltage_ladder(
    request: Request, shop: ShopDep, key: str, load: str, case: str = "full-load", variant: str = ""
) -> HTMLResponse:
    opened = open_job(shop, key, variant)
    done = opened.analysis
    found = ladder(opened.snapshot, opened.variant, done.routing, done.report, opened.view.dictionary, load, case)
    chart = Svg(ladder_chart(found))
    cases = [s.case for s in done.report.loads if s.load == load]
    names = opened.snapshot.case_name
    return job_page(
        request, "check/ladder.html", opened, "check", found=found, chart=chart, cases=[(c, names[c]) for c in cases]
    )


@router.get("/along")
@needs(Right.READ)
def temperature_along(
    request: Request, shop: ShopDep, key: str, wire: str, case: str = "full-load", variant: str = ""
) -> HTMLResponse:
    opened = open_job(shop, key, variant)
    done = opened.analysis
    found = along(opened.snapshot, done.routing, done.report, wire, case)
    cases = list(opened.snapshot.case_name.items())
    return job_page(
        request, "check/along.html", opened, "check", found=found, chart=Svg(along_chart(found)), cases=cases,
        carry=analysis.may_carry_of(done, found.case.key)[wire], state=done.report.wires[found.case.key][wire],
        rule_names=RULE_NAMES,
    )  # fmt: skip
