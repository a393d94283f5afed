"""The single-circuit worksheet: one question at the bench, without a job."""

from __future__ import annotations

import math
from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from pinmap.core.electrics.circuit import Circuit, Worksheet
from pinmap.core.electrics.wire import STANDARD_NAMES, size_choices, worksheet
from pinmap.core.errors import InputError, TableGap
from pinmap.core.facts import sources
from pinmap.core.facts.catalogues import catalogue
from pinmap.core.facts.conductors import insulations
from pinmap.core.facts.constants import FOOT_M
from pinmap.core.facts.covering_heat import covering_heat
from pinmap.core.facts.metals import metals
from pinmap.core.facts.parts import coverings
from pinmap.core.model.jobs import Practice
from pinmap.core.model.people import Right
from pinmap.web.access import needs
from pinmap.web.forms import number, number_or_none
from pinmap.web.render import page

router = APIRouter(prefix="/worksheet")

DEFAULTS = {
    "current": "10", "loop": "6.4", "unit": "m", "supply": "12", "drop": "3", "place": "cabin", "ambient": "",
    "insulation": Practice().insulation, "bundle": "1", "total": "", "covering": "", "sizes": "stock:copper",
    "on": "", "every": "",
}  # fmt: skip
# Where a field of the question stands on the form.
_FIELDS = {
    "current_a": "current", "loop_m": "loop", "supply_v": "supply", "drop_pct": "drop", "ambient_c": "ambient",
    "insulation": "insulation", "bundle": "bundle", "total": "total", "on_s": "on", "period_s": "every",
    "metal": "sizes", "sizes": "sizes", "covering": "covering",
}  # fmt: skip


def _count(field: str, text: str, blank: int) -> int:
    value = number_or_none(field, text)
    if value is None:
        return blank
    if value != int(value):
        raise InputError(field, text, "give a whole number of wires")
    return int(value)


def read_circuit(typed: Mapping[str, str]) -> Circuit:
    """The question as it was typed. Raises InputError, whose field is a field of ``Circuit``."""
    places = {r["key"]: float(r["ambient_c"]) for r in sources.rows("places")}
    ambient = number_or_none("ambient_c", typed["ambient"])
    if ambient is None:
        if typed["place"] not in places:
            raise InputError("ambient_c", typed["place"], "choose a place or give the air's temperature")
        ambient = places[typed["place"]]
    sizes, _, metal = typed["sizes"].partition(":")
    bundle = _count("bundle", typed["bundle"], 1)
    feet = typed["unit"] == "ft"
    return Circuit(
        current_a=number("current_a", typed["current"]),
        loop_m=number("loop_m", typed["loop"]) * (FOOT_M.value if feet else 1),
        supply_v=number("supply_v", typed["supply"]),
        drop_pct=number_or_none("drop_pct", typed["drop"]),
        ambient_c=ambient,
        insulation=typed["insulation"],
        bundle=bundle,
        total=_count("total", typed["total"], bundle),
        covering=typed["covering"],
        metal=metal or ("copper" if sizes == "stock" else catalogue(sizes).metal),
        sizes=sizes,
        on_s=number_or_none("on_s", typed["on"], least=0) or 0.0,
        period_s=number_or_none("period_s", typed["every"]) or math.inf,
    )


def _size_options() -> list[tuple[str, str]]:
    out = []
    for key in metals():
        out += [(f"stock:{key}", f"metric, the usual stock, {key}")]
    return out + [(f"{k}:{m}", words) for m in metals() for k, words in size_choices(m) if k != "stock"]


@router.get("")
@needs(Right.READ)
def sheet(request: Request) -> HTMLResponse:
    asked = request.query_params
    typed = DEFAULTS | {name: asked[name] for name in DEFAULTS if name in asked}
    answer: Worksheet | None = None
    problems = dict.fromkeys(DEFAULTS, "")
    try:
        answer = worksheet(read_circuit(typed))
    except InputError as refused:
        problems[_FIELDS.get(refused.field, "current")] = refused.remedy
    except TableGap as gap:
        problems["current"] = str(gap)
    return page(
        request,
        "worksheet/page.html",
        200 if answer else 422,
        typed=typed,
        problems=problems,
        answer=answer,
        model=next((a for a in answer.answers if a.standard == "model"), None) if answer else None,
        names=STANDARD_NAMES,
        places=[(r["key"], f"{r['name']}, {float(r['ambient_c']):g} °C") for r in sources.rows("places")],
        place_source=sources.source("places"),
        insulation_options=[(i.key, f"{i.name}, {i.max_temp_c:g} °C") for i in insulations().values()],
        covering_name=covering_heat(answer.circuit.covering).name if answer else "",
        covering_options=[(c.key, c.name) for c in coverings().values() if c.key != "none"],
        size_options=_size_options(),
    )
