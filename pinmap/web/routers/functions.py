"""The function dictionary."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.facts.functions import FunctionEntry
from pinmap.core.model.people import Right
from pinmap.core.model.words import Direction, Kind
from pinmap.services import dictionary
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import back_to, number_or_none
from pinmap.web.render import page

router = APIRouter(prefix="/functions")

_SHOWN = 300


@router.get("")
@needs(Right.READ)
def functions(request: Request, shop: ShopDep, q: str = "", group: str = "") -> HTMLResponse:
    entries = dictionary.entries(shop).entries
    words = q.casefold().split()
    found = [
        e for e in entries if (not group or e.group == group) and all(w in " ".join(e.words).casefold() for w in words)
    ]
    return page(
        request,
        "functions/page.html",
        entries=found[:_SHOWN],
        matched=len(found),
        total=len(entries),
        q=q,
        group=group,
        groups=[(g, g) for g in dict.fromkeys(e.group for e in entries)],
        own={e.code for e, _ in dictionary.own(shop)},
        kinds=[(k.value, k.value) for k in Kind],
        directions=[(d.value, d.value) for d in Direction],
    )


@router.post("")
@needs(Right.BUILD)
def add(
    shop: ShopDep,
    code: Annotated[str, Form()],
    name: Annotated[str, Form()],
    kind: Annotated[Kind, Form()],
    direction: Annotated[Direction, Form()],
    synonyms: Annotated[str, Form()] = "",
    current_a: Annotated[str, Form()] = "",
    peak_a: Annotated[str, Form()] = "",
    min_v: Annotated[str, Form()] = "",
    states: Annotated[str, Form()] = "",
    source: Annotated[str, Form()] = "",
    needs: Annotated[list[str] | None, Form()] = None,
) -> Response:
    wanted = needs or []
    entry = FunctionEntry(
        code=code.strip(),
        name=name.strip(),
        kind=kind,
        direction=direction,
        synonyms=tuple(s.strip() for s in synonyms.split(";") if s.strip()),
        current_a=number_or_none("current_a", current_a),
        peak_a=number_or_none("peak_a", peak_a),
        min_v=number_or_none("min_v", min_v),
        states=states.strip().upper(),
        source=source.strip(),
        twist="twist" in wanted,
        screen="screen" in wanted,
        own_return="own_return" in wanted,
        pull_up="pull_up" in wanted,
        critical="critical" in wanted,
        required="required" in wanted,
    )
    dictionary.add(shop, entry)
    return back_to(f"/functions?q={entry.code}", f"{entry.code} is in the dictionary")


@router.post("/delete")
@needs(Right.BUILD)
def delete(shop: ShopDep, code: Annotated[str, Form()]) -> Response:
    dictionary.delete(shop, code)
    return back_to("/functions", f"{code} removed")
