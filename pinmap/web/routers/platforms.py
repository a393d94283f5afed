"""Platforms: their editions, connectors and pins."""

from __future__ import annotations

import re
from collections import Counter
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup

from pinmap.core.errors import InputError, NotFound
from pinmap.core.facts.colours import parse_colour
from pinmap.core.model.people import Right
from pinmap.core.model.pinouts import Connector, Edition, Housing, Pin
from pinmap.core.model.words import Direction, Evidence, Gender, Kind, Role, natural_key
from pinmap.drawings.faces import face_svg
from pinmap.services import dictionary, housings, outputs, pinout_import, platforms
from pinmap.services.platforms import PlatformView
from pinmap.services.shop import Shop
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.downloads import download
from pinmap.web.forms import Version, address, back_to, number_or_none
from pinmap.web.refs import end_ref, parse_pin
from pinmap.web.render import page

router = APIRouter(prefix="/platforms")

_PINS_SHOWN = 600
_EDITION = re.compile(r"^\s*(?P<key>[^:]+?)\s*(?::\s*(?P<from>\d{4})\s*[-\u2013]?\s*(?P<to>\d{4})?)?\s*$")


def _choices() -> dict[str, Any]:
    """What the forms of connectors and pins offer."""
    return {
        "kinds": [(k.value, k.value) for k in Kind],
        "directions": [(d.value, d.value) for d in Direction],
        "evidences": [(e.value, e.value) for e in Evidence],
        "genders": [(g.value, g.value) for g in Gender],
        "ref": end_ref,
    }


def _keys(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(";") if part.strip())


@router.get("")
@needs(Right.READ)
def index(request: Request, shop: ShopDep) -> HTMLResponse:
    return page(request, "platforms/index.html", rows=platforms.list_platforms(shop))


@router.get("/new")
@needs(Right.READ)
def new(request: Request) -> HTMLResponse:
    return page(request, "platforms/new.html", roles=[(r.value, r.value) for r in Role])


@router.post("/new")
@needs(Right.BUILD)
def create(
    shop: ShopDep,
    name: Annotated[str, Form()],
    role: Annotated[Role, Form()],
    nominal_v: Annotated[float, Form()] = 12,
    editions: Annotated[str, Form()] = "",
    note: Annotated[str, Form()] = "",
) -> Response:
    wanted = [_edition(line) for line in editions.splitlines() if line.strip()]
    view = platforms.create(shop, name=name, role=role, nominal_v=nominal_v, note=note, editions=tuple(wanted))
    return back_to(address("platforms", view.platform.key, "import"), f"{view.platform.name} made; now its pins")


def _edition(line: str) -> Edition:
    found = _EDITION.match(line)
    if found is None:
        raise InputError("editions", line, "write one a line, such as late: 2002-2006")
    first, last = found["from"], found["to"]
    return Edition(
        key=found["key"],
        name=found["key"],
        from_year=int(first) if first else None,
        to_year=int(last) if last else None,
    )


@router.get("/{key}")
@needs(Right.READ)
def show(request: Request, shop: ShopDep, key: str) -> HTMLResponse:
    view = platforms.get(shop, key)
    pins = sorted(view.platform.pins, key=lambda p: (natural_key(p.connector), natural_key(p.cavity), p.editions))
    known = Counter(p.evidence.value for p in pins)
    return page(
        request,
        "platforms/page.html",
        pf=view.platform,
        version=view.version,
        housings=view.housings,
        jobs=view.jobs,
        pins=pins[:_PINS_SHOWN],
        shown=min(len(pins), _PINS_SHOWN),
        known={e.value: known[e.value] for e in Evidence},
        pin_counts=Counter(p.connector for p in pins),
        drafts=pinout_import.list_drafts(shop, key),
        all_housings=_housings(shop),
        **_choices(),
    )


@router.post("/{key}/delete")
@needs(Right.BUILD)
def delete(shop: ShopDep, key: str, version: Version) -> Response:
    platforms.delete(shop, key, version)
    return back_to("/platforms", "Deleted")


@router.get("/{key}/export.csv")
@needs(Right.READ)
def export_csv(shop: ShopDep, key: str) -> Response:
    return download(outputs.pinout(shop, key, "csv"))


@router.get("/{key}/export.xlsx")
@needs(Right.READ)
def export_xlsx(shop: ShopDep, key: str) -> Response:
    return download(outputs.pinout(shop, key, "xlsx"))


@router.post("/{key}/editions")
@needs(Right.BUILD)
def add_edition(
    shop: ShopDep,
    key: str,
    version: Version,
    edition: Annotated[str, Form(alias="key")],
    name: Annotated[str, Form()] = "",
    from_year: Annotated[str, Form()] = "",
    to_year: Annotated[str, Form()] = "",
    market: Annotated[str, Form()] = "",
) -> Response:
    years = [number_or_none("year", text, least=1900) for text in (from_year, to_year)]
    first, last = (int(y) if y is not None else None for y in years)
    edition = edition.strip()
    made = Edition(key=edition, name=name.strip() or edition, from_year=first, to_year=last, market=market.strip())
    platforms.add_edition(shop, key, version, made)
    return back_to(address("platforms", key), f"Edition {edition} added")


@router.post("/{key}/connectors")
@needs(Right.BUILD)
def add_connector(
    shop: ShopDep,
    key: str,
    version: Version,
    name: Annotated[str, Form()],
    description: Annotated[str, Form()] = "",
    housing: Annotated[str, Form()] = "",
    gender: Annotated[Gender, Form()] = Gender.UNKNOWN,
    editions: Annotated[str, Form()] = "",
) -> Response:
    made = Connector(
        name=name.strip(),
        description=description.strip(),
        housing=_housing(shop, housing),
        gender=gender,
        editions=_keys(editions),
    )
    platforms.add_connector(shop, key, version, made)
    return back_to(address("platforms", key), f"{made.name} added")


def _housings(shop: Shop) -> list[Housing]:
    return [view.housing for view in housings.list_housings(shop)]


def _housing(shop: Shop, key: str) -> str:
    """A key of a known housing, or "" for a blank."""
    key = key.strip()
    if key and all(h.key != key for h in _housings(shop)):
        raise InputError("housing", key, "choose one from the list, or leave it blank while it is not known")
    return key


def _connector(view: PlatformView, name: str) -> Connector:
    for connector in view.platform.connectors:
        if connector.name == name:
            return connector
    raise NotFound(f"{view.platform.name} has no connector {name!r}")


@router.get("/{key}/connectors/{name:path}")
@needs(Right.READ)
def connector(request: Request, shop: ShopDep, key: str, name: str) -> HTMLResponse:
    view = platforms.get(shop, key)
    found = _connector(view, name)
    housing = view.housings.get(found.housing)
    pins = sorted(
        (p for p in view.platform.pins if p.connector == name), key=lambda p: (natural_key(p.cavity), p.editions)
    )
    return page(
        request,
        "platforms/connector.html",
        pf=view.platform,
        version=view.version,
        c=found,
        pins=pins,
        drawing=Markup(face_svg(housing, None, title=f"{view.platform.name} {name}")) if housing else "",  # noqa: S704 - our drawing
        all_housings=_housings(shop),
        blank=Pin(connector=name, cavity=""),
        functions=dictionary.entries(shop).entries,
        **_choices(),
    )


@router.post("/{key}/connectors/{name:path}")
@needs(Right.BUILD)
def save_connector(
    shop: ShopDep,
    key: str,
    name: str,
    version: Version,
    new_name: Annotated[str, Form()],
    description: Annotated[str, Form()] = "",
    housing: Annotated[str, Form()] = "",
    gender: Annotated[Gender, Form()] = Gender.UNKNOWN,
    editions: Annotated[str, Form()] = "",
    place: Annotated[str, Form()] = "",
    note: Annotated[str, Form()] = "",
    deed: Annotated[str, Form()] = "save",
) -> Response:
    if deed == "delete":
        platforms.delete_connector(shop, key, version, name)
        return back_to(address("platforms", key), f"{name} deleted")
    platforms.update_connector(
        shop,
        key,
        version,
        name,
        new_name=new_name,
        description=description.strip(),
        housing=_housing(shop, housing),
        gender=gender,
        editions=_keys(editions),
        place=place.strip(),
        note=note.strip(),
    )
    return back_to(address("platforms", key), "Saved")


@router.get("/{key}/pin")
@needs(Right.READ)
def pin(request: Request, shop: ShopDep, key: str, pin: str) -> HTMLResponse:
    view = platforms.get(shop, key)
    wanted = parse_pin(pin)
    found = next((p for p in view.platform.pins if p.key(view.platform.key) == wanted), None)
    if found is None:
        raise NotFound(f"{view.platform.name} has no pin {wanted}")
    return page(
        request,
        "platforms/pin.html",
        pf=view.platform,
        version=view.version,
        p=found,
        action=f"{address('platforms', key, 'pin')}?{urlencode({'pin': pin})}",
        functions=dictionary.entries(shop).entries,
        **_choices(),
    )


class PinForm:
    """The fields of a pin as typed."""

    def __init__(
        self,
        connector: Annotated[str, Form()],
        cavity: Annotated[str, Form()],
        kind: Annotated[Kind, Form()],
        direction: Annotated[Direction, Form()],
        evidence: Annotated[Evidence, Form()],
        function: Annotated[str, Form()] = "",
        function_code: Annotated[str, Form()] = "",
        current_a: Annotated[str, Form()] = "",
        peak_a: Annotated[str, Form()] = "",
        wire_colour: Annotated[str, Form()] = "",
        wire_mm2: Annotated[str, Form()] = "",
        editions: Annotated[str, Form()] = "",
        evidence_ref: Annotated[str, Form()] = "",
        component: Annotated[str, Form()] = "",
        note: Annotated[str, Form()] = "",
    ) -> None:
        colours = parse_colour(wire_colour) if wire_colour.strip() else ()
        self.pin = Pin(
            connector=connector.strip(),
            cavity=cavity.strip(),
            function=function.strip(),
            function_code=function_code.strip(),
            kind=kind,
            direction=direction,
            current_a=number_or_none("current_a", current_a, least=0),
            peak_a=number_or_none("peak_a", peak_a, least=0),
            wire_colour="/".join(colours) or wire_colour.strip(),
            wire_mm2=number_or_none("wire_mm2", wire_mm2, least=0),
            editions=_keys(editions),
            evidence=evidence,
            evidence_ref=evidence_ref.strip(),
            component=component.strip(),
            note=note.strip(),
        )
