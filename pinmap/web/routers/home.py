"""Jobs: the list, a new one, a job file in."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import HTMLResponse, Response

from pinmap.core.errors import InputError
from pinmap.core.model.jobs import Pick, Seat
from pinmap.core.model.people import Right
from pinmap.core.model.words import Role
from pinmap.services import jobs, platforms
from pinmap.services.shop import Shop
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import back_to
from pinmap.web.render import page

router = APIRouter()


@router.get("/")
@needs(Right.READ)
def index(request: Request, shop: ShopDep) -> HTMLResponse:
    return page(request, "jobs/index.html", rows=jobs.list_jobs(shop))


@router.get("/jobs/new")
@needs(Right.READ)
def new(request: Request, shop: ShopDep) -> HTMLResponse:
    return _new_page(request, shop)


def _new_page(
    request: Request,
    shop: Shop,
    status: int = 200,
    name: str = "",
    customer: str = "",
    picks: list[str] | None = None,
    problem: str = "",
) -> HTMLResponse:
    offered: dict[str, list[dict[str, object]]] = {role.value: [] for role in Role}
    rows = platforms.list_platforms(shop)
    for row in rows:
        platform = platforms.get(shop, row.key).platform
        for edition in platform.editions or (None,):
            label = f"{platform.name}, {edition.name}" if edition else platform.name
            value = f"{platform.key}|{edition.key if edition else ''}"
            offered[platform.role].append({"value": value, "label": label, "pins": row.pins})
    return page(
        request,
        "jobs/new.html",
        status,
        platforms=rows,
        picks=offered,
        problem=problem,
        typed={"name": name, "customer": customer, "picks": picks or []},
    )


@router.post("/jobs/new")
@needs(Right.BUILD)
def create(
    request: Request,
    shop: ShopDep,
    name: Annotated[str, Form()] = "",
    customer: Annotated[str, Form()] = "",
    pick: Annotated[list[str] | None, Form()] = None,
) -> Response:
    try:
        view = jobs.create_job(shop, "", name.strip(), _seats(shop, pick or []), customer=customer.strip())
    except InputError as error:
        return _new_page(request, shop, 422, name, customer, pick, str(error))
    return back_to(f"/jobs/{view.job.key}/decide", "The job is made; Pinmap proposes what meets what")


def _seats(shop: Shop, ticked: list[str]) -> list[Seat]:
    """One seat a role; accessories and control units of their own kind sit on one seat each."""
    picks: dict[Role, list[Pick]] = {}
    for value in ticked:
        key, _, edition = value.partition("|")
        picks.setdefault(platforms.get(shop, key).platform.role, []).append(Pick(key, edition))
    for role in (Role.DONOR, Role.HOST):
        if not picks.get(role):
            raise InputError("pick", "", f"tick a {role}; a job joins a donor and a host")
    seats = [
        Seat(key=r.name.lower(), name=r.value, role=r, picks=tuple(picks[r]))
        for r in Role
        if r in picks and r != Role.ACCESSORY
    ]
    seats += [
        Seat(key=f"accessory-{n}", name=f"accessory {n}", role=Role.ACCESSORY, picks=(p,))
        for n, p in enumerate(picks.get(Role.ACCESSORY, []), 1)
    ]
    return seats


@router.post("/jobs/import")
@needs(Right.BUILD)
def bring_in(shop: ShopDep, file: Annotated[UploadFile, File()], rename: Annotated[str, Form()] = "") -> Response:
    view = jobs.import_json(shop, file.file.read(), rename=bool(rename))
    return back_to(f"/jobs/{view.job.key}", "The job file is in")
