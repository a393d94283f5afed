"""The function dictionary."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.errors import InputError
from pinmap.core.facts.functions import FunctionEntry
from pinmap.core.model.people import Right
from pinmap.core.model.words import Direction, Kind
from pinmap.services import dictionary
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import Version, back_to, number_or_none
from pinmap.web.render import page

router = APIRouter(prefix="/functions")

_SHOWN = 300


_NEEDS = (
    ("twist", "twisted pair"),
    ("screen", "screened"),
    ("own_return", "own return"),
    ("pull_up", "needs a pull-up"),
    ("critical", "critical, 3 % drop"),
    ("required", "required at release"),
)
_CHOICES: dict[str, Any] = {
    "kinds": [(k.value, k.value) for k in Kind],
    "directions": [(d.value, d.value) for d in Direction],
    "needs": _NEEDS,
}


class FunctionForm:
    """The fields of a function as typed."""

    def __init__(
        self,
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
    ) -> None:
        self.entry = FunctionEntry(
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
            **dict[str, Any]((need, need in (needs or ())) for need, _ in _NEEDS),
        )


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
        own={e.code: version for e, version in dictionary.own(shop)},
        e=FunctionEntry(code="", name="", direction=Direction.IN),
        **_CHOICES,
    )


@router.post("")
@needs(Right.BUILD)
def add(shop: ShopDep, form: Annotated[FunctionForm, Depends()]) -> Response:
    dictionary.add(shop, form.entry)
    return back_to("/functions", f"{form.entry.code} is in the dictionary", q=form.entry.code)


@router.get("/own/{known:path}")
@needs(Right.READ)
def own(request: Request, shop: ShopDep, known: str) -> HTMLResponse:
    entry, version = dictionary.get_own(shop, known)
    return page(request, "functions/own.html", e=entry, version=version, **_CHOICES)


@router.post("/own/{known:path}")
@needs(Right.BUILD)
def save(
    shop: ShopDep,
    known: str,
    version: Version,
    form: Annotated[FunctionForm, Depends()],
    deed: Annotated[str, Form()] = "save",
) -> Response:
    if deed == "delete":
        dictionary.delete(shop, known, version)
        return back_to("/functions", f"{known} removed")
    if form.entry.code != known:
        raise InputError("code", form.entry.code, f"the code stays {known}; add a function of another code instead")
    now, _ = dictionary.get_own(shop, known)
    dictionary.update(shop, replace(form.entry, group=now.group, colour=now.colour), version)
    return back_to("/functions", f"{known} is changed", q=known)
