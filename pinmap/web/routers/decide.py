"""Decide: crossing, ledger, signals."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.crossing import edits
from pinmap.core.crossing.edit_checks import free_key
from pinmap.core.errors import InputError, NotFound
from pinmap.core.facts.conductors import insulations
from pinmap.core.loom.choices import joint_choices
from pinmap.core.loom.lengths import parts_of
from pinmap.core.model.jobs import Job, Signal, Snapshot
from pinmap.core.model.looms import Device, DeviceEnd, End, Segment
from pinmap.core.model.people import Right
from pinmap.core.model.words import DEVICE_TERMINALS, IN_LINE_TERMINALS, DeviceKind, Fate, Joint, NodeKind, natural_key
from pinmap.services import crossing, drawings, jobs
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import MOST, Version, back_to, number_or_none, word_of
from pinmap.web.job_pages import JobPage, job_page, open_job
from pinmap.web.refs import parse_end, parse_pin

router = APIRouter(prefix="/jobs/{key}/decide")

_ROWS_SHOWN = 1500
_SETTLED = (Fate.PARKED, Fate.CAPPED, Fate.RETAINED, Fate.DELETED, Fate.DEFERRED)


@router.get("")
@needs(Right.READ)
def proposals(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    return job_page(
        request,
        "decide/crossing.html",
        opened,
        "decide",
        proposals=crossing.proposals(opened.view),
        token=crossing.token,
        undecided=opened.ledger.undecided,
    )


@router.post("/take")
@needs(Right.BUILD)
def take(shop: ShopDep, key: str, version: Version, take: Annotated[list[str], Form()] = []) -> Response:  # noqa: B006 - FastAPI copies form defaults
    if not take:
        raise InputError("take", "", "tick at least one proposal")
    crossing.accept(shop, key, version, take)
    return back_to(f"/jobs/{key}/decide", f"{len(take)} signals made")


@router.get("/ledger")
@needs(Right.READ)
def ledger(
    request: Request, shop: ShopDep, key: str, variant: str = "", platform: str = "", fate: str = ""
) -> HTMLResponse:
    opened = open_job(shop, key, variant)
    book = opened.ledger
    rows = [r for r in book.rows if (not platform or r.pin.platform == platform) and (not fate or r.fate == fate)]
    return job_page(
        request,
        "decide/ledger.html",
        opened,
        "decide",
        ledger=book,
        rows=rows[:_ROWS_SHOWN],
        shown=min(len(rows), _ROWS_SHOWN),
        total=len(rows),
        chosen_platform=platform,
        chosen_fate=fate,
        back=urlencode([(k, v) for k, v in request.query_params.multi_items() if k != "done"]),
        platforms=[(k, opened.snapshot.platform[k].name) for k in book.counts],
        fates=[(f.value, f.value) for f in Fate],
        settle_fates=[(f.value, f.value) for f in _SETTLED],
    )


@router.post("/settle")
@needs(Right.BUILD)
def settle(
    shop: ShopDep,
    key: str,
    version: Version,
    deed: Annotated[str, Form()],
    pin: Annotated[list[str], Form()] = [],  # noqa: B006 - FastAPI copies form defaults
    name: Annotated[str, Form()] = "",
    signal: Annotated[str, Form()] = "",
    fate: Annotated[str, Form()] = "",
    reason: Annotated[str, Form()] = "",
    owner: Annotated[str, Form()] = "",
    due: Annotated[str, Form()] = "",
    back: Annotated[str, Form()] = "",
) -> Response:
    """One deed on all ticked pins, all or none."""
    pins = [parse_pin(ref) for ref in pin]
    if not pins:
        raise InputError("pin", "", "tick at least one pin in the list")

    def change(job: Job, snapshot: Snapshot) -> Job:
        known = snapshot.pin.keys()
        match deed:
            case "join" if signal:
                for end in pins:
                    job = edits.add_member(_unsettled(job, end), signal, end, known=known)
            case "join":
                for end in pins:
                    job = _unsettled(job, end)
                code = next((snapshot.pin[e].function_code for e in pins if snapshot.pin[e].function_code), "")
                job = edits.join(job, pins, name=name, function_code=code, known=known)
            case "settle":
                for end in pins:
                    job = edits.set_fate(
                        job, end, word_of(Fate, "fate", fate), reason, owner=owner, due=due, replacing=True, known=known
                    )
            case "clear":
                for end in pins:
                    job = edits.clear_fate(job, end)
            case _:
                raise InputError("deed", deed, "choose join, settle or clear")
        return job

    jobs.edit(shop, key, version, change, f"{deed} {len(pins)} pins")
    return back_to(f"/jobs/{key}/decide/ledger?{back}", f"Done for {len(pins)} pins")


def _unsettled(job: Job, end: End) -> Job:
    """A pin that is joined by hand gives up its earlier fate."""
    return replace(job, fates=tuple(f for f in job.fates if f.pin != end))


@router.get("/signals")
@needs(Right.READ)
def signals(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    return job_page(request, "decide/signals.html", open_job(shop, key, variant), "decide")


@router.get("/signals/{signal}")
@needs(Right.READ)
def signal(request: Request, shop: ShopDep, key: str, signal: str, variant: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    found = opened.snapshot.signal.get(signal)
    if found is None:
        raise NotFound(f"this job has no signal {signal!r}")
    done = opened.analysis
    wires = [w for w in done.routing.wires if w.signal == signal]
    taken = {segment for w in wires for segment in w.segments}
    return job_page(
        request,
        "decide/signal.html",
        opened,
        "decide",
        s=found,
        devices=opened.snapshot.device,
        active=opened.snapshot.active_pins(opened.variant),
        wires=[(w, done.report.worst(w.id), parts_of(opened.job.practice, w).rows()) for w in wires],
        choices=joint_choices(opened.snapshot, opened.variant, signal),
        joints=[(j.value, j.value) for j in Joint],
        runs=sorted(
            ((s, _run_words(opened.snapshot, s), s.key in taken) for s in opened.job.segments),
            key=lambda run: (not run[2], natural_key(run[0].key)),
        ),
        gaps=[g.reason for g in done.routing.gaps if g.signal == signal],
        findings=[f for f in done.findings if f"signal:{signal}" in f.refs],
        free_devices=_free_devices(opened.job),
        candidates=_candidates(opened, found),
        sections=[(i, i) for i in range(len(found.inline) + 1)],
        places=[n for n in opened.job.nodes if n.kind != NodeKind.CONNECTOR],
        insulations=insulations(),
        drawing=drawings.signal_map(opened.snapshot, opened.variant, done, (signal,)) if wires else "",
    )


def _run_words(snapshot: Snapshot, run: Segment) -> str:
    ends = " to ".join(snapshot.node[n].name or n for n in (run.a, run.b))
    zone = snapshot.zone.get(run.zone)
    return f"{ends}{', ' + zone.name if zone is not None else ''}"


def _free_devices(job: Job) -> list[Device]:
    taken = {d for s in job.signals for d in s.inline}
    return [d for d in job.devices if d.kind in IN_LINE_TERMINALS and d.key not in taken]


def _candidates(opened: JobPage, current: Signal) -> list[tuple[End, str]]:
    """Undecided pins, pins of the same function first, then free device terminals."""
    rows = [r for r in opened.ledger.rows if r.fate in (Fate.UNDECIDED, Fate.DEFERRED)]
    rows.sort(
        key=lambda r: (r.entry.function_code != current.function_code, r.pin.platform, natural_key(r.pin.connector))
    )
    found: list[tuple[End, str]] = [(r.pin, f"{opened.end_label(r.pin)} {r.entry.function}") for r in rows[:400]]
    taken = opened.snapshot.signal_of
    in_line = {d for s in opened.job.signals for d in s.inline}
    for device in opened.job.devices:
        for terminal in DEVICE_TERMINALS[device.kind]:
            end = DeviceEnd(device.key, terminal)
            stands = device.key in in_line and terminal in IN_LINE_TERMINALS.get(device.kind, ())
            if (end not in taken and not stands) or device.kind == DeviceKind.STUD:
                found.append((end, f"{device.key} · {terminal} ({device.kind} {device.name})"))
    return found


@router.post("/signals/{signal}")
@needs(Right.BUILD)
def save(
    shop: ShopDep,
    key: str,
    signal: str,
    version: Version,
    name: Annotated[str, Form()],
    function_code: Annotated[str, Form()] = "",
    mm2: Annotated[str, Form()] = "",
    colour: Annotated[str, Form()] = "",
    insulation: Annotated[str, Form()] = "",
    twist: Annotated[str, Form()] = "",
    screen: Annotated[str, Form()] = "",
    note: Annotated[str, Form()] = "",
    confirmed: Annotated[str, Form()] = "",
) -> Response:
    if insulation.strip() and insulation.strip() not in insulations():
        raise InputError("insulation", insulation, f"choose one of {', '.join(insulations())}")

    def change(job: Job, _: Snapshot) -> Job:
        return edits.update_signal(
            job,
            signal,
            name=name,
            function_code=function_code.strip(),
            mm2=number_or_none("mm2", mm2),
            colour=colour.strip().upper(),
            insulation=insulation.strip(),
            twist=twist.strip(),
            screen=screen.strip(),
            note=note,
            confirmed=bool(confirmed),
        )

    jobs.edit(shop, key, version, change, f"signal {signal} changed")
    return back_to(f"/jobs/{key}/decide/signals/{signal}", "Saved")


@router.post("/signals/{signal}/way")
@needs(Right.BUILD)
def way(
    shop: ShopDep,
    key: str,
    signal: str,
    version: Version,
    via: Annotated[str, Form()] = "",
    joint: Annotated[str, Form()] = Joint.SPLICE.value,
) -> Response:
    """The runs that the signal is led through, and how three and more ends of it meet."""
    led = tuple(run for part in via.split(",") if (run := part.strip()))
    chosen = word_of(Joint, "joint", joint)

    def change(job: Job, _: Snapshot) -> Job:
        return edits.update_signal(job, signal, via=led, joint=chosen)

    jobs.edit(shop, key, version, change, f"signal {signal}: way and joint")
    return back_to(f"/jobs/{key}/decide/signals/{signal}#way", "Saved")


@router.post("/signals/{signal}/dissolve")
@needs(Right.BUILD)
def dissolve(shop: ShopDep, key: str, signal: str, version: Version) -> Response:
    jobs.edit(shop, key, version, lambda job, _: edits.dissolve(job, signal), f"signal {signal} taken apart")
    return back_to(f"/jobs/{key}/decide/signals", "The signal was taken apart; its pins are undecided")


@router.post("/signals/{signal}/members")
@needs(Right.BUILD)
def members(
    shop: ShopDep,
    key: str,
    signal: str,
    version: Version,
    deed: Annotated[str, Form()],
    end: Annotated[list[str], Form()] = [],  # noqa: B006 - FastAPI copies form defaults
    add: Annotated[str, Form()] = "",
    section: Annotated[int, Form(ge=0, le=MOST)] = 0,
    device: Annotated[str, Form()] = "",
    value: Annotated[str, Form()] = "",
    place: Annotated[str, Form()] = "",
) -> Response:
    """Add, take out, put in line, take out of line."""
    ends = [parse_end(ref) for ref in end]

    def change(job: Job, snapshot: Snapshot) -> Job:
        match deed:
            case "add":
                extra = parse_end(add)
                return edits.add_member(
                    _unsettled(job, extra), signal, extra, section=section, known=snapshot.pin.keys()
                )
            case "remove":
                if not ends:
                    raise InputError("end", "", "tick the ends to take out")
                for gone in ends:
                    job = edits.remove_member(job, signal, gone)
                return job
            case "in":
                job, chosen = _device_for(job, device, value, place)
                return edits.put_in_line(job, signal, chosen, downstream=ends)
            case _ if deed.startswith("out:"):
                return edits.take_out_of_line(job, signal, deed.removeprefix("out:"))
        raise InputError("deed", deed, "choose add, remove or put in line")

    jobs.edit(shop, key, version, change, f"signal {signal}: {deed}")
    return back_to(f"/jobs/{key}/decide/signals/{signal}", "Done")


_LETTER = {
    DeviceKind.FUSE: "F",
    DeviceKind.RELAY: "K",
    DeviceKind.RESISTOR: "R",
    DeviceKind.DIODE: "V",
    DeviceKind.CONVERTER: "U",
    DeviceKind.STUD: "E",
    DeviceKind.SWITCH: "S",
}  # IEC 81346 letters in common use on vehicle diagrams


def next_device_key(job: Job, kind: DeviceKind) -> str:
    """The first free key of a kind, such as F4."""
    return free_key((d.key for d in job.devices), _LETTER[kind])


def _device_for(job: Job, device: str, value: str, place: str) -> tuple[Job, str]:
    """An existing device by key, or a new one from ``new:<kind>`` with its rating or resistance."""
    if not device:
        raise InputError("device", "", "choose a device or a new one")
    if not device.startswith("new:"):
        return job, device
    kind = word_of(DeviceKind, "device", device.removeprefix("new:"))
    amount = number_or_none("value", value, least=0)
    if amount is None and kind in (DeviceKind.FUSE, DeviceKind.RESISTOR):
        raise InputError("value", value, "a new fuse needs its rating in A, a new resistor its value in ohm")
    ohms = kind == DeviceKind.RESISTOR
    new = Device(
        key=next_device_key(job, kind),
        kind=kind,
        place=place,
        rating_a=None if ohms else amount,
        resistance_ohm=amount if ohms else None,
    )
    return edits.add_device(job, new), new.key
