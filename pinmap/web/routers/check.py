"""Check: findings, wires and loads."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.crossing import edits
from pinmap.core.electrics.ground_lift import GroundLift, ground_lifts, limit_v
from pinmap.core.electrics.heat_rules import RULE_NAMES, shown_standard
from pinmap.core.electrics.supply_cases import load_cases
from pinmap.core.facts.conductors import insulations
from pinmap.core.model.people import Right
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Severity
from pinmap.services import analysis, jobs
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import Version, back_to
from pinmap.web.job_pages import job_page, open_job

router = APIRouter(prefix="/jobs/{key}/check")


@router.get("")
@needs(Right.READ)
def findings(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    found = analysis.findings(opened.snapshot, None, opened.view.dictionary)
    order = list(Severity)
    ranked = sorted(found, key=lambda f: (order.index(f.severity), f.rule))
    return job_page(
        request,
        "check/findings.html",
        opened,
        "check",
        groups=[list(same) for _, same in groupby(ranked, key=lambda f: (f.severity, f.rule))],
        count={s.value: sum(f.severity == s for f in found) for s in Severity},
        accepted={a.finding: a for a in opened.job.acceptances},
    )


@router.post("/accept")
@needs(Right.BUILD)
def accept(
    shop: ShopDep,
    key: str,
    version: Version,
    finding: Annotated[str, Form()],
    reason: Annotated[str, Form()],
) -> Response:
    jobs.edit(
        shop,
        key,
        version,
        lambda job, _: edits.accept_finding(job, finding, by=shop.actor.name, reason=reason),
        "finding accepted",
    )
    return back_to(f"/jobs/{key}/check", "Accepted; it stays listed")


@router.get("/wires")
@needs(Right.READ)
def wires(request: Request, shop: ShopDep, key: str, variant: str = "", case: str = "full-load") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    done, cases = opened.analysis, load_cases(opened.snapshot)
    chosen = next((c for c in cases if c.key == case), cases[0])
    states = done.report.wires.get(chosen.key, {})
    limits = {k: i.max_temp_c for k, i in insulations().items()}
    carry = analysis.may_carry_of(done, chosen.key)
    return job_page(
        request,
        "check/wires.html",
        opened,
        "check",
        rows=[
            (w, states.get(w.id), done.report.advice.get(w.id), limits[w.insulation], carry.get(w.id))
            for w in done.routing.wires
        ],
        rule_names=RULE_NAMES,
        standard=shown_standard(opened.job.practice.heat_rule),
        case=chosen,
        cases=[(c.key, c.name) for c in cases],
    )


def _by_pin(lifts: Iterable[GroundLift]) -> dict[PinKey, dict[str, GroundLift]]:
    """Pin -> load case -> its lift."""
    out: dict[PinKey, dict[str, GroundLift]] = {}
    for lift in lifts:
        out.setdefault(lift.pin, {})[lift.case] = lift
    return out


@router.get("/loads")
@needs(Right.READ)
def loads(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    report = opened.analysis.report
    return job_page(
        request,
        "check/loads.html",
        opened,
        "check",
        loads=sorted(report.loads, key=lambda s: s.voltage_v - s.need_v),
        unfed=report.unfed,
        case_names=opened.snapshot.case_name,
        lifts=_by_pin(ground_lifts(opened.snapshot, opened.variant, report)),
        limits={c.key: limit_v(c.code) for c in opened.job.load_cases},
    )
