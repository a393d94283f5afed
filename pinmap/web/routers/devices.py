"""Decide: fuses, relays and other devices of the loom."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.crossing import edits
from pinmap.core.model.jobs import Job, Signal, Snapshot
from pinmap.core.model.looms import Device, DeviceEnd
from pinmap.core.model.people import Right
from pinmap.core.model.words import DeviceKind, NodeKind, natural_key
from pinmap.services import jobs
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import Version, back_to, number_or_none
from pinmap.web.job_pages import job_page, open_job
from pinmap.web.routers.decide import next_device_key

router = APIRouter(prefix="/jobs/{key}/decide/devices")


@router.get("")
@needs(Right.READ)
def devices(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    uses: dict[str, list[Signal]] = {}
    for signal in opened.job.signals:
        named = {*signal.inline, *(m.end.device for m in signal.members if isinstance(m.end, DeviceEnd))}
        for device in named:
            uses.setdefault(device, []).append(signal)
    return job_page(
        request,
        "decide/devices.html",
        opened,
        "decide",
        devices=sorted(opened.job.devices, key=lambda d: natural_key(d.key)),
        uses=uses,
        places=[n for n in opened.job.nodes if n.kind != NodeKind.CONNECTOR],
        kinds=[(k.value, k.value) for k in DeviceKind],
    )


@router.post("")
@needs(Right.BUILD)
def add(
    shop: ShopDep,
    key: str,
    version: Version,
    kind: Annotated[DeviceKind, Form()],
    name: Annotated[str, Form()] = "",
    place: Annotated[str, Form()] = "",
    rating_a: Annotated[str, Form()] = "",
    resistance_ohm: Annotated[str, Form()] = "",
    coil_ohm: Annotated[str, Form()] = "",
) -> Response:
    def change(job: Job, _: Snapshot) -> Job:
        return edits.add_device(
            job,
            Device(
                key=next_device_key(job, kind),
                kind=kind,
                name=name.strip(),
                place=place,
                rating_a=number_or_none("rating_a", rating_a),
                coil_ohm=number_or_none("coil_ohm", coil_ohm),
                resistance_ohm=number_or_none("resistance_ohm", resistance_ohm),
            ),
        )

    jobs.edit(shop, key, version, change, f"{kind} added")
    return back_to(f"/jobs/{key}/decide/devices", f"A {kind} was added")


@router.post("/{device}")
@needs(Right.BUILD)
def save(
    shop: ShopDep,
    key: str,
    device: str,
    version: Version,
    name: Annotated[str, Form()] = "",
    place: Annotated[str, Form()] = "",
    rating_a: Annotated[str, Form()] = "",
    resistance_ohm: Annotated[str, Form()] = "",
    coil_ohm: Annotated[str, Form()] = "",
    only_with: Annotated[str, Form()] = "",
    deed: Annotated[str, Form()] = "save",
) -> Response:
    def change(job: Job, _: Snapshot) -> Job:
        if deed == "remove":
            return edits.remove_device(job, device)
        return edits.update_device(
            job,
            device,
            name=name.strip(),
            place=place,
            only_with=only_with,
            rating_a=number_or_none("rating_a", rating_a),
            coil_ohm=number_or_none("coil_ohm", coil_ohm),
            resistance_ohm=number_or_none("resistance_ohm", resistance_ohm),
        )

    jobs.edit(shop, key, version, change, f"device {device}: {deed}")
    return back_to(f"/jobs/{key}/decide/devices", "Removed" if deed == "remove" else "Saved")
