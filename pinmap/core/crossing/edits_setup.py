"""Edits of a job's seats, load cases, practice and acceptances; see ``edits`` for the rules they keep."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from pinmap.core.crossing.edit_checks import allowed, drop, find, new_key, positive, swap, text
from pinmap.core.errors import InputError
from pinmap.core.facts.circuit import STARTING_PROFILES
from pinmap.core.model.jobs import HEAT_RULES, LOWEST, PLATEAU, Acceptance, Job, LoadCase, Pick, Practice, Seat
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Role

_PRACTICE_FIELDS = frozenset(Practice.__dataclass_fields__)
_PERCENTAGES = frozenset({"drop_critical_pct", "drop_other_pct", "twist_take_up_pct", "bend_pct"})
_UNITS = {"min_mm2": "mm²", "splice_cost_g": "g of copper", "avoid_factor": "times the length"}  # others: m
_NOT_ZERO = frozenset({"min_mm2", "cut_step_m", "avoid_factor"})
_COUNTS = {"max_splices": 1, "max_splice_wires": 3}  # the least limit; 0 does not limit
_CASE_CODES = "KCIFA"
MOST_SUPPLY_V = 60.0  # DC; end of voltage class A, ISO 6469-3


def new_job(key: str, name: str, *, customer: str = "", note: str = "") -> Job:
    """An empty job. Raises InputError for a bad key or an empty name."""
    new_key((), key, "key")
    return Job(key=key, name=text(name, "name", "a job needs a name"), customer=customer, note=note)


def update_job(job: Job, **changes: Any) -> Job:
    """Changes name, customer or note."""
    allowed(changes, frozenset({"name", "customer", "note"}), "job")
    if "name" in changes:
        changes["name"] = text(changes["name"], "name", "a job needs a name")
    return replace(job, **changes)


def add_seat(job: Job, seat: Seat) -> Job:
    """An axis of choice with at least one pick; a platform sits in one seat only."""
    new_key(job.seats, seat.key, "key")
    _check_seat(job, seat)
    return replace(job, seats=(*job.seats, seat))


def update_seat(job: Job, key: str, *, name: str | None = None, role: Role | None = None) -> Job:
    seat = find(job.seats, key, "seat")
    new = replace(seat, name=seat.name if name is None else name, role=seat.role if role is None else role)
    _check_seat(job, new)
    return replace(job, seats=swap(job.seats, new))


def remove_seat(job: Job, key: str) -> Job:
    """Raises InputError while anything decided hangs on its platforms."""
    seat = find(job.seats, key, "seat")
    for platform in {pick.platform for pick in seat.picks}:
        _refuse_platform_in_use(job, platform, "seat", key)
    return replace(job, seats=drop(job.seats, key))


def add_pick(job: Job, seat: str, pick: Pick) -> Job:
    """One more choice for a seat, which makes the seat an option."""
    old = find(job.seats, seat, "seat")
    new = replace(old, picks=(*old.picks, pick))
    _check_seat(job, new)
    return replace(job, seats=swap(job.seats, new))


def remove_pick(job: Job, seat: str, pick: Pick) -> Job:
    """Raises InputError for the last pick, and while something decided hangs on what only this pick brings."""
    old = find(job.seats, seat, "seat")
    if pick not in old.picks:
        raise InputError("pick", tuple(pick), f"the seat has: {', '.join(map(_pick_words, old.picks))}")
    if len(old.picks) == 1:
        raise InputError("pick", tuple(pick), "it is the seat's last pick; remove the seat instead")
    rest = tuple(p for p in old.picks if p != pick)
    if all(p.platform != pick.platform for p in rest):
        _refuse_platform_in_use(job, pick.platform, "pick", _pick_words(pick))
    else:
        _refuse_edition_in_use(job, pick, rest)
    return replace(job, seats=swap(job.seats, replace(old, picks=rest)))


def add_load_case(job: Job, case: LoadCase) -> Job:
    new_key(job.load_cases, case.key, "key")
    _check_case(case)
    return replace(job, load_cases=(*job.load_cases, case))


def update_load_case(job: Job, key: str, **changes: Any) -> Job:
    """Changes code, name, supply_v, source, profile or phase."""
    case = find(job.load_cases, key, "load case")
    allowed(changes, frozenset({"code", "name", "supply_v", "source", "profile", "phase"}), "load case")
    new = replace(case, **changes)
    _check_case(new)
    return replace(job, load_cases=swap(job.load_cases, new))


def remove_load_case(job: Job, key: str) -> Job:
    find(job.load_cases, key, "load case")
    if len(job.load_cases) == 1:
        raise InputError("load case", key, "a job needs at least one load case to be checked in")
    return replace(job, load_cases=drop(job.load_cases, key))


def update_practice(job: Job, **changes: Any) -> Job:
    """Changes the shop's way of building, by the fields of ``Practice``."""
    allowed(changes, _PRACTICE_FIELDS, "practice")
    for field, value in changes.items():
        if field == "stock_mm2":
            changes[field] = _stock(value)
        elif field == "units":
            if value not in ("metric", "awg"):
                raise InputError(field, value, "choose metric or awg")
        elif field == "insulation":
            changes[field] = text(value, field, "name an insulation of the table")
        elif field == "heat_rule":
            if value not in HEAT_RULES:
                raise InputError(field, value, f"choose one of {', '.join(HEAT_RULES)}")
        elif field in _COUNTS:
            if value != 0 and (value < _COUNTS[field] or value != int(value)):
                raise InputError(field, value, f"give a whole number from {_COUNTS[field]}, or 0 for no limit")
            changes[field] = int(value)
        else:
            unit = "per cent" if field in _PERCENTAGES else _UNITS.get(field, "m")
            positive(value, field, unit, zero=field not in _NOT_ZERO)
            if field == "avoid_factor" and value < 1:
                raise InputError(field, value, "give 1 or more; with 1 nothing is avoided")
            if field in _PERCENTAGES and value >= 100:
                raise InputError(field, value, "give a percentage below 100")
    return replace(job, practice=replace(job.practice, **changes))


def accept_finding(job: Job, finding: str, *, by: str, reason: str) -> Job:
    """A named person accepts a finding, by its key, and says why; it stays listed."""
    finding = text(finding, "finding", "name the finding by its key")
    for acceptance in job.acceptances:
        if acceptance.finding == finding:
            raise InputError("finding", finding, f"{acceptance.by} accepted it already; withdraw that first")
    new = Acceptance(
        finding=finding,
        by=text(by, "by", "say who accepts it"),
        reason=text(reason, "reason", "say why it can be accepted"),
    )
    return replace(job, acceptances=(*job.acceptances, new))


def withdraw_acceptance(job: Job, finding: str) -> Job:
    if all(a.finding != finding for a in job.acceptances):
        raise InputError("finding", finding, "nobody has accepted it")
    return replace(job, acceptances=tuple(a for a in job.acceptances if a.finding != finding))


def _check_seat(job: Job, seat: Seat) -> None:
    text(seat.name, "name", "a seat needs a name")
    if not seat.picks:
        raise InputError("picks", "", "pick at least one platform for the seat")
    for index, pick in enumerate(seat.picks):
        text(pick.platform, "platform", "name a platform")
        if pick in seat.picks[:index]:
            raise InputError("picks", tuple(pick), "it is picked twice; each choice stands once")
        for other in job.seats:
            if other.key != seat.key and any(p.platform == pick.platform for p in other.picks):
                raise InputError("picks", tuple(pick), f"seat {other.name!r} picks this platform already")
    plain = {p.platform for p in seat.picks if not p.edition}
    for pick in seat.picks:
        if pick.edition and pick.platform in plain:
            raise InputError("picks", tuple(pick), "this platform is picked without an edition too; name one for each")


def _check_case(case: LoadCase) -> None:
    text(case.name, "name", "a load case needs a name")
    if case.code not in tuple(_CASE_CODES):
        raise InputError("code", case.code, f"choose one of {', '.join(_CASE_CODES)}")
    positive(case.supply_v, "supply_v", "V")
    if case.supply_v > MOST_SUPPLY_V:
        raise InputError(
            "supply_v", case.supply_v, f"give at most {MOST_SUPPLY_V:g} V; above that begins voltage class B of "
            "ISO 6469-3, which is not for Pinmap",
        )  # fmt: skip
    levels = sorted({p.level for p in STARTING_PROFILES})
    if case.profile and case.profile not in levels:
        raise InputError("profile", case.profile, f"choose one of {', '.join(levels)}, or none")
    if case.profile and case.code != "C":
        raise InputError("profile", case.profile, "a starting profile belongs to a case of cranking, code C")
    if (case.phase in (LOWEST, PLATEAU)) is not bool(case.profile):
        raise InputError("phase", case.phase, f"{LOWEST} or {PLATEAU} with a profile, nothing without")


def _stock(value: Any) -> tuple[float, ...]:
    sizes = tuple(sorted({float(v) for v in value}))
    if not sizes or not all(math.isfinite(v) and v > 0 for v in sizes):
        raise InputError("stock_mm2", value, "give at least one size above 0 in mm²")
    return sizes


def _pick_words(pick: Pick) -> str:
    return f"{pick.platform}@{pick.edition}" if pick.edition else pick.platform


def _refuse_platform_in_use(job: Job, platform: str, field: str, value: str) -> None:
    for signal in job.signals:
        if any(isinstance(m.end, PinKey) and m.end.platform == platform for m in signal.members):
            raise InputError(field, value, f"signal {signal.name!r} has pins of {platform}; take them out first")
    for fate in job.fates:
        if fate.pin.platform == platform:
            raise InputError(field, value, f"pin {fate.pin} has a fate ({fate.fate}); clear it first")
    for node in job.nodes:
        if node.mates is not None and node.mates.platform == platform:
            raise InputError(field, value, f"node {node.key} mates with {platform}; remove it first")
    for device in job.devices:
        if device.only_with == platform:
            raise InputError(field, value, f"device {device.key} is only for {platform}; change that first")


def _refuse_edition_in_use(job: Job, pick: Pick, rest: tuple[Pick, ...]) -> None:
    """Pin entries that exist in this edition and in none that stays."""
    stay = {p.edition for p in rest if p.platform == pick.platform}

    def only_here(pin: PinKey) -> bool:
        editions = set(pin.edition.split(";")) if pin.edition else set()
        return pin.platform == pick.platform and pick.edition in editions and not editions & stay

    for signal in job.signals:
        for member in signal.members:
            if isinstance(member.end, PinKey) and only_here(member.end):
                raise InputError(
                    "pick",
                    _pick_words(pick),
                    f"signal {signal.name!r} has pin {member.end} of this edition; take it out first",
                )
    for fate in job.fates:
        if only_here(fate.pin):
            raise InputError("pick", _pick_words(pick), f"pin {fate.pin} has a fate ({fate.fate}); clear it first")
