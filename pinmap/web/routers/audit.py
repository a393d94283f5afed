"""The record of changes: who changed what, when, from what to what; by job, person and pin."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.errors import InputError
from pinmap.core.model.people import Right
from pinmap.exchange.tables_csv import write_csv
from pinmap.services import audit
from pinmap.services.audit import Subject
from pinmap.services.outputs import MEDIA, Output
from pinmap.store.audit import Query
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.downloads import download
from pinmap.web.render import page

router = APIRouter(prefix="/audit")


@dataclass(frozen=True)
class Asked:
    """The filter, the form's fields as they were filled in, and what is wrong with which of them."""

    query: Query
    fields: dict[str, str]
    problems: dict[str, str]


def _day(text: str) -> datetime | None:
    return datetime.combine(date.fromisoformat(text.strip()), time(), UTC) if text.strip() else None


def asked(
    kind: str = "",
    of: str = "",
    who: str = "",
    platform: str = "",
    connector: str = "",
    cavity: str = "",
    since: str = "",
    until: str = "",
) -> Asked:
    """What is asked for; a day that is none narrows nothing. Raises InputError for what no database can look for."""
    fields = {
        "kind": kind, "of": of, "who": who, "platform": platform, "connector": connector, "cavity": cavity,
        "since": since, "until": until,
    }  # fmt: skip
    for name, text in fields.items():
        if "\x00" in text:
            raise InputError(name, text, "take out the NUL characters")
    days: dict[str, datetime | None] = {}
    problems = {}
    for name in ("since", "until"):
        try:
            days[name] = _day(fields[name])
        except ValueError:
            problems[name] = "give a day as year-month-day, such as 2026-03-01"
    last = days.get("until")
    query = Query(
        kind=kind, subject=of.strip(), who=who, platform=platform.strip(), connector=connector.strip(),
        cavity=cavity.strip(), since=days.get("since"), until=last + timedelta(days=1) if last else None,
    )  # fmt: skip
    return Asked(query, fields, problems)


AskedDep = Annotated[Asked, Depends(asked)]


@router.get("")
@needs(Right.READ)
def show(request: Request, shop: ShopDep, wanted: AskedDep, before: int | None = None) -> HTMLResponse:
    given = {name: text for name, text in wanted.fields.items() if text}
    found = audit.entries(shop, wanted.query, before)
    return page(
        request,
        "audit/page.html",
        422 if wanted.problems else 200,
        found=found.entries,
        older=urlencode({**given, "before": found.older}) if found.older is not None else "",
        filters=urlencode(given),
        typed=wanted.fields,
        problems=wanted.problems,
        people=[(name, name) for name in audit.people(shop)],
        kinds=[(k.value, k.value) for k in Subject],
        newest=before is None,
    )


@router.get("/files/audit.csv")
@needs(Right.READ)
def file(shop: ShopDep, wanted: AskedDep) -> Response:
    if wanted.problems:
        name, remedy = next(iter(wanted.problems.items()))
        raise InputError(name, wanted.fields[name], remedy)
    found = audit.entries(shop, wanted.query, limit=audit.MOST)
    return download(Output("changes.csv", write_csv(audit.table(found.entries)), MEDIA["csv"]))
