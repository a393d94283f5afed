"""The guide inside the app; its tables come from the same data as the computation."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from pinmap.core.electrics.agreement import agreements
from pinmap.core.electrics.agreement_points import LARGE_PCT
from pinmap.core.electrics.typed import LOAD_COLUMNS, SOURCE_COLUMNS
from pinmap.core.errors import NotFound
from pinmap.core.facts import sources
from pinmap.core.facts.functions import dictionary
from pinmap.core.model.jobs import DEFAULT_LOAD_CASES
from pinmap.core.model.people import PersonRole, Right, rights_by_role
from pinmap.core.model.words import COLOURS, Fate
from pinmap.core.rules.registry import rule_list
from pinmap.exchange.columns import COLUMNS
from pinmap.services.passwords import MIN_LENGTH
from pinmap.services.people import LINK_DAYS
from pinmap.services.sessions import IDLE, LONGEST
from pinmap.web.access import needs
from pinmap.web.render import page

router = APIRouter(prefix="/guide")

PAGES = {
    "howto": "How to do a job",
    "pinouts": "Pinout files",
    "method": "Method",
    "agreement": "Agreement",
    "rules": "Rules",
    "sources": "Sources",
    "words": "Words",
    "people": "People and roles",
    "cautions": "Cautions",
    "command-line": "Command line",
    "keeping": "Backup and move",
    "changes": "Changes",
}


def _data(name: str) -> dict[str, Any]:
    match name:
        case "pinouts":
            return {"columns": COLUMNS, "load_columns": LOAD_COLUMNS, "source_columns": SOURCE_COLUMNS}
        case "rules":
            return {"rules": rule_list()}
        case "sources":
            return {"tables": [(sources.source(t), len(sources.rows(t))) for t in sources.table_names()]}
        case "words":
            return {"colours": COLOURS, "fates": list(Fate), "functions": len(dictionary().entries)}
        case "agreement":
            return {"tables": agreements(), "limit": LARGE_PCT}
        case "people":
            return {
                "roles": [(r.value, r.value) for r in PersonRole],
                "rights": rights_by_role(),
                "link_days": LINK_DAYS,
                "least": MIN_LENGTH,
                "idle_days": IDLE.days,
                "longest_days": LONGEST.days,
            }
        case "method":
            return {"load_cases": DEFAULT_LOAD_CASES}
        case _:
            return {}


@router.get("")
@needs(Right.READ)
def index(request: Request) -> HTMLResponse:
    return page(request, "guide/index.html", pages=PAGES, current="")


@router.get("/tables/{table}")
@needs(Right.READ)
def table(request: Request, table: str) -> HTMLResponse:
    """One reference table, as it is computed with."""
    return page(
        request,
        "guide/table.html",
        pages=PAGES,
        current="sources",
        source=sources.source(table),
        rows=sources.rows(table),
    )


@router.get("/{name}")
@needs(Right.READ)
def guide(request: Request, name: str) -> HTMLResponse:
    if name not in PAGES:
        raise NotFound(f"the guide has no page {name!r}")
    return page(request, f"guide/{name}.html", pages=PAGES, current=name, **_data(name))
