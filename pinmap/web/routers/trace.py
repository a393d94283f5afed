"""Trace: where does this pin go, and what should be read there."""

from __future__ import annotations

from dataclasses import replace

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from pinmap.core.crossing.ledger import LedgerRow
from pinmap.core.model.looms import DeviceEnd, End
from pinmap.core.model.people import Right
from pinmap.core.model.words import Fate
from pinmap.core.tracing.path import trace
from pinmap.services import drawings
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.job_pages import JobPage, job_page, open_job
from pinmap.web.refs import parse_end

router = APIRouter(prefix="/jobs/{key}/trace")


@router.get("")
@needs(Right.READ)
def show(request: Request, shop: ShopDep, key: str, variant: str = "", q: str = "", end: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    found = _search(opened, q)
    chosen = parse_end(end) if end else (found[0].pin if len(found) == 1 else None)
    if chosen is None:
        return job_page(request, "trace/page.html", opened, "trace", q=q, end_text=end, found=found, traced=None)
    if not isinstance(chosen, DeviceEnd) and chosen not in opened.snapshot.active_pins(opened.variant):
        opened = _where_it_is(opened, chosen)
    done = opened.analysis
    way = trace(opened.snapshot, opened.variant, done.routing, done.report, chosen, done.dictionary)
    row = next((r for r in opened.ledger.rows if r.pin == chosen), None)
    settled = f"This pin is {row.fate}: {row.reason}" if row and row.fate not in (Fate.JOINED, Fate.UNDECIDED) else ""
    if row and row.fate == Fate.UNDECIDED:
        settled = "This pin is undecided: no signal has it yet."
    return job_page(
        request,
        "trace/page.html",
        opened,
        "trace",
        q=q,
        end_text=end,
        found=found if len(found) > 1 else [],
        traced=way,
        end=chosen,
        pin=None if isinstance(chosen, DeviceEnd) else opened.snapshot.pin.get(chosen),
        drawing=drawings.strip(way),
        settled=settled,
    )


def _where_it_is(opened: JobPage, pin: End) -> JobPage:
    """The job in the first variant that has the pin; the same page when none has it."""
    for variant in opened.snapshot.variants:
        if pin in opened.snapshot.active_pins(variant):
            return replace(opened, variant=variant)
    return opened


def _search(opened: JobPage, q: str) -> list[LedgerRow]:
    """Pins of this variant that have every word typed in their connector, cavity, function, colour or signal; a wire
    id finds the pins at its ends."""
    words = q.casefold().replace("-", " ").split()
    if not words:
        return []
    wire = opened.analysis.routing.wire.get(q.strip().upper())
    ends = {e.pin for e in (wire.a, wire.b)} if wire else set()
    active = opened.snapshot.active_pins(opened.variant)
    found = []
    for row in opened.ledger.rows:
        if row.pin not in active:
            continue
        signal = opened.snapshot.signal.get(row.signal)
        text = " ".join(
            (
                row.pin.connector,
                row.pin.cavity,
                row.entry.function,
                row.entry.function_code,
                row.entry.wire_colour,
                row.entry.component,
                opened.snapshot.platform[row.pin.platform].name,
                signal.name if signal else "",
            )
        ).casefold()
        tokens = text.replace("-", " ").split()
        if row.pin in ends or all(any(w == t for t in tokens) if len(w) < 3 else w in text for w in words):
            found.append(row)
    return found
