"""One pin at a time, and pin lists: staging, correcting, storing."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Depends, File, Form, Path, Request, UploadFile
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from pinmap.core.errors import InputError, NotFound
from pinmap.core.model.people import Right
from pinmap.exchange.columns import COLUMNS
from pinmap.services import dictionary, pinout_import, platforms
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import MOST, Version, address, back_to
from pinmap.web.refs import parse_pin
from pinmap.web.render import page
from pinmap.web.routers.platforms import PinForm

router = APIRouter()

_ROWS_SHOWN = 800
Draft = Annotated[int, Path(ge=0, le=MOST)]


@router.post("/platforms/{key}/pins")
@needs(Right.BUILD)
def add_pin(shop: ShopDep, key: str, version: Version, form: Annotated[PinForm, Depends()]) -> Response:
    made = form.pin
    if not made.function_code:
        made = pinout_import.with_codes((made,), dictionary.entries(shop))[0]
    platforms.add_pin(shop, key, version, made)
    return back_to(address("platforms", key, "connectors", made.connector), f"{made.connector}-{made.cavity} added")


@router.post("/platforms/{key}/pin")
@needs(Right.BUILD)
def save_pin(
    shop: ShopDep,
    key: str,
    pin: str,
    version: Version,
    form: Annotated[PinForm, Depends()],
    deed: Annotated[str, Form()] = "save",
) -> Response:
    wanted = parse_pin(pin)
    if deed == "delete":
        platforms.delete_pin(shop, key, version, wanted)
        return back_to(address("platforms", key), f"{wanted.connector}-{wanted.cavity} deleted")
    old = next((p for p in platforms.get(shop, key).platform.pins if p.key(key) == wanted), None)
    if old is None:
        raise NotFound(f"there is no pin {wanted} any more")
    platforms.update_pin(shop, key, version, wanted, replace(form.pin, extra=old.extra))
    return back_to(address("platforms", key, "connectors", form.pin.connector), "Saved")


@router.get("/platforms/{key}/import")
@needs(Right.READ)
def bring_in(request: Request, shop: ShopDep, key: str) -> HTMLResponse:
    return page(request, "platforms/import.html", pf=platforms.get(shop, key).platform)


@router.post("/platforms/{key}/import")
@needs(Right.BUILD)
def upload(
    shop: ShopDep, key: str, file: Annotated[UploadFile, File()], sheet: Annotated[str, Form()] = ""
) -> Response:
    draft = pinout_import.stage(shop, key, file.file.read(), file.filename or "", sheet=sheet.strip())
    return back_to(f"/imports/{draft}")


@router.post("/platforms/{key}/paste")
@needs(Right.BUILD)
def paste(shop: ShopDep, key: str, text: Annotated[str, Form()]) -> Response:
    return back_to(f"/imports/{pinout_import.stage_text(shop, key, text)}")


@router.get("/imports/{draft}")
@needs(Right.READ)
def show(request: Request, shop: ShopDep, draft: Draft, show: str = "") -> HTMLResponse:
    view = pinout_import.get(shop, draft)
    cells = dict(view.table.numbered_rows)
    wanted = [r for r in view.draft.rows if show != "problems" or r.problems or r.row in view.existing]
    wanted.sort(key=lambda r: (r.good, not r.problems and r.row not in view.existing))
    return page(
        request,
        "imports/page.html",
        d=view,
        columns=COLUMNS,
        wanted=len(wanted),
        rows=[(r, cells[r.row]) for r in wanted[:_ROWS_SHOWN]],
    )


def _place(field: str, text: str, remedy: str) -> int:
    """A row or column by number."""
    text = text.strip()
    if not (text.isascii() and text.isdecimal()) or len(text) > 9:
        raise InputError(field, text, remedy)
    return int(text)


@router.post("/imports/{draft}/headings")
@needs(Right.BUILD)
async def headings(
    request: Request,
    shop: ShopDep,
    draft: Draft,
    version: Version,
    heading_row: Annotated[str, Form()] = "",
    default_connector: Annotated[str, Form()] = "",
    fill: Annotated[str, Form()] = "",
) -> Response:
    columns = [(k.removeprefix("column-"), v) for k, v in (await request.form()).items() if k.startswith("column-")]
    await run_in_threadpool(
        pinout_import.remap,
        shop,
        draft,
        version,
        read_as={_place("column", k, "leave the columns as the page has them"): str(v) for k, v in columns},
        heading_row=_place("heading_row", heading_row, "type the number of the row with the headings, 0 for none"),
        default_connector=default_connector,
        fill_connector=bool(fill),
    )
    return back_to(f"/imports/{draft}", "Read again")


@router.post("/imports/{draft}/cell")
@needs(Right.BUILD)
def cell(
    shop: ShopDep,
    draft: Draft,
    version: Version,
    row: Annotated[int, Form(ge=0, le=MOST)],
    column: Annotated[int, Form(ge=0, le=MOST)],
    text: Annotated[str, Form()] = "",
) -> Response:
    pinout_import.edit_cell(shop, draft, version, row, column, text)
    return back_to(f"/imports/{draft}#r{row}", f"Row {row} read again")


@router.post("/imports/{draft}/choose")
@needs(Right.BUILD)
def choose(
    shop: ShopDep,
    draft: Draft,
    version: Version,
    row: Annotated[int, Form(ge=0, le=MOST)] = 0,
    choice: Annotated[str, Form()] = "",
    all_rows: Annotated[str, Form(alias="all")] = "",
) -> Response:
    choices = {r.row: all_rows for r in pinout_import.get(shop, draft).open_rows} if all_rows else {row: choice}
    pinout_import.choose(shop, draft, version, choices)
    return back_to(f"/imports/{draft}#r{row}", "Chosen")


@router.post("/imports/{draft}/take")
@needs(Right.BUILD)
def take(shop: ShopDep, draft: Draft, version: Version, how: Annotated[str, Form()]) -> Response:
    key = pinout_import.get(shop, draft).platform.key
    take_rows = pinout_import.take_all if how == "all" else pinout_import.take_good_rows
    done = take_rows(shop, draft, version)
    words = f"{done.added} pins stored, {done.replaced} replaced, {done.kept} kept as they were"
    return back_to(f"/imports/{draft}" if done.left else address("platforms", key), words)


@router.post("/imports/{draft}/discard")
@needs(Right.BUILD)
def discard(shop: ShopDep, draft: Draft, version: Version) -> Response:
    key = pinout_import.get(shop, draft).platform.key
    pinout_import.discard(shop, draft, version)
    return back_to(address("platforms", key), "The draft was thrown away")
