"""At the bench: what is checked off of one loom of a variant, by whom, and what is still to do. Entries are only added;
they hold for the draft and for each revision as far as the line is the same there."""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from pinmap.core.build.check_off import (
    Line,
    LineState,
    Progress,
    entry_words,
    lines,
    ohm_words,
    progress,
    states,
    told,
)
from pinmap.core.build.ring_out import ring_out
from pinmap.core.crossing.changes import Change
from pinmap.core.errors import InputError, NotFound, StructureError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.bench import Stage, Verdict
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.people import Right
from pinmap.exchange.tables_csv import write_csv
from pinmap.exchange.tables_xlsx import write_xlsx
from pinmap.exchange.test_record import record_pdf, record_table
from pinmap.services import audit
from pinmap.services.analysis import Analysis, analyse, own_entries
from pinmap.services.audit import Subject
from pinmap.services.memory import Memory
from pinmap.services.outputs import MEDIA, Output, Release, file_stem, safe_name, title_block
from pinmap.services.shop import Shop
from pinmap.store import bench as rows
from pinmap.store import jobs as job_rows

MAX_NOTE, MAX_SERIAL = 1000, 40
MOST_OHM = 1e15  # no meter reads more
_LINES: Memory[tuple[Line, ...]] = Memory(8)
_SHOWN_DIGITS = 16


@dataclass(frozen=True)
class Sheet:
    """One loom of a variant at the bench. ``serials`` are those of the variant that something was written down of."""

    serial: str
    states: tuple[LineState, ...]
    serials: tuple[str, ...]

    def of(self, stage: Stage) -> tuple[LineState, ...]:
        return tuple(s for s in self.states if s.stage is stage)

    @cached_property
    def by_stage(self) -> dict[Stage, Progress]:
        return {stage: progress(self.of(stage)) for stage in Stage}

    @cached_property
    def by_loom(self) -> dict[str, dict[Stage, Progress]]:
        """How far each loom of the job is, by its key; what is no longer part of any stands under ""."""
        looms = dict.fromkeys(s.line.loom if s.line else "" for s in self.states)
        return {
            loom: {
                stage: progress(s for s in self.of(stage) if (s.line.loom if s.line else "") == loom) for stage in Stage
            }
            for loom in looms
        }

    @cached_property
    def by_wire(self) -> dict[str, tuple[LineState, ...]]:
        """What is to be done to each wire: to cut it, and its two ends."""
        found: dict[str, list[LineState]] = {}
        for s in self.states:
            if s.line is not None and not s.stage.measured:
                wire = s.line.key if s.stage is Stage.CUT else s.line.key.rpartition(" ")[0]
                found.setdefault(wire, []).append(s)
        return {wire: tuple(of) for wire, of in found.items()}

    @property
    def made(self) -> Progress:
        return progress(s for s in self.states if not s.stage.measured)

    @property
    def tested(self) -> Progress:
        return progress(s for s in self.states if s.stage.measured)

    def state(self, ref: str) -> LineState | None:
        return next((s for s in self.states if s.ref == ref), None)


@dataclass(frozen=True, slots=True)
class Summary:
    """How far one loom is that something was written down of; None where its variant is not in the job any more."""

    variant: str
    label: str
    serial: str
    sheet: Sheet | None


def sheet(shop: Shop, done: Analysis, serial: str = "", right: Right = Right.READ) -> Sheet:
    """What is to be done to one loom of a variant, and what was. Raises NotFound."""
    key = done.snapshot.job.key
    with shop.read(right) as session:
        job_id = job_rows.versions(session, key).job_id
        written = rows.entries(session, job_id, done.variant.key, serial)
        serials = tuple(s for variant, s in rows.looms(session, job_id) if variant == done.variant.key)
    return Sheet(serial, states(_lines(done), written), serials)


def summaries(shop: Shop, snapshot: Snapshot, words: Dictionary) -> tuple[Summary, ...]:
    """Every loom that something was written down of, measured against this state of the job. Raises NotFound."""
    with shop.read() as session:
        begun = rows.looms(session, job_rows.versions(session, snapshot.job.key).job_id)
    known = {v.key: v for v in snapshot.variants}
    return tuple(
        Summary(
            variant,
            snapshot.variant_label(known[variant]) if variant in known else variant,
            serial,
            sheet(shop, analyse(snapshot, known[variant], words), serial) if variant in known else None,
        )
        for variant, serial in begun
    )


def _lines(done: Analysis) -> tuple[Line, ...]:
    key = (done.snapshot.content_hash, done.variant.key, own_entries(done.dictionary))

    def make() -> tuple[Line, ...]:
        return lines(done.snapshot, done.routing, done.build_rows, ring_out(done.snapshot, done.routing))

    return _LINES.get(key, make)


def shown(state: LineState) -> str:
    """What a form says of the line as it was shown, with a word that is its own, so that a form that arrives twice
    counts once."""
    return f"{state.digest[:_SHOWN_DIGITS]}.{secrets.token_urlsafe(9)}"


def check_off(
    shop: Shop,
    done: Analysis,
    ref: str,
    *,
    as_shown: str,
    verdict: Verdict,
    value: float | None = None,
    note: str = "",
    serial: str = "",
) -> LineState:
    """Writes down what was done to, or read at, a line as it was shown. ``value`` is in the unit of the list: ohm for
    continuity, megohm for isolation. Gives the line with all that stood there before. Two people never refuse one
    another. Raises NotFound for a line that there is not, StructureError when it has changed since it was shown,
    InputError."""
    shop.require(Right.BENCH)
    note, serial = note.strip(), serial.strip()
    if len(note) > MAX_NOTE:
        raise InputError("note", f"{len(note)} characters", f"shorten it to {MAX_NOTE} characters at most")
    if len(serial) > MAX_SERIAL:
        raise InputError("serial", serial[:80], f"shorten it to {MAX_SERIAL} characters at most")
    now = sheet(shop, done, serial)
    state = now.state(ref)
    if state is None:
        raise NotFound("there is no such line on the list any more; open the list again")
    if as_shown.partition(".")[0] != state.digest[:_SHOWN_DIGITS]:
        now_words = "; ".join(f"{n} {v}" for n, v in state.content_words(done.snapshot.job.practice.units) if v)
        raise StructureError(
            f"{state.name} has changed since the page was opened; it is now: {now_words}. Nothing was written down: "
            "look at it again, and check it off as it is now",
            (state.name,),
        )
    value_ohm = _judged(state, verdict, value)
    entry = {
        "variant": done.variant.key,
        "serial": serial,
        "stage": state.stage.value,
        "line": state.line.key if state.line else state.history[-1].line,
        "name": state.name,
        "content": [list(pair) for pair in state.content],
        "digest": state.digest,
        "verdict": verdict.value,
        "value_ohm": value_ohm,
        "note": note,
        "who": shop.actor.name,
        "person_id": shop.actor.person,
    }
    sent = json.dumps([done.snapshot.job.key, as_shown, *entry.values()])
    with shop.write(Right.BENCH) as session:
        job_id = job_rows.versions(session, done.snapshot.job.key).job_id
        before = rows.last_of(session, job_id, entry)
        digest = hashlib.sha256(sent.encode()).hexdigest()
        if rows.add(session, job_id, {**entry, "sent_sha256": digest}):
            old = entry_words(before) if before is not None else ""
            new = told(verdict, value_ohm, note)
            pin = state.line.pin if state.line is not None else None
            loom = f"{done.snapshot.variant_label(done.variant)}{f', serial number {serial}' if serial else ''}"
            change = Change(f"{state.name} ({loom})", "checked off", old, new, pin)
            audit.record(
                shop, session, Subject.JOB, done.snapshot.job.key, f"{state.stage} checked off at the bench", (change,)
            )
    return state


def _judged(state: LineState, verdict: Verdict, value: float | None) -> float | None:
    """The reading in ohm. Raises InputError for a verdict that does not suit the line or the reading."""
    measured = state.stage.measured
    suited = [Verdict.PASSED if measured else Verdict.DONE, Verdict.FAILED, Verdict.TAKEN_BACK]
    if state.line is None:
        suited = [Verdict.TAKEN_BACK]
    if verdict not in suited:
        raise InputError("verdict", verdict.value, f"choose one of: {', '.join(suited)}")
    if value is None or verdict is Verdict.TAKEN_BACK:
        return None
    if not measured:
        raise InputError("value", value, "only a test has a reading; write it as a note")
    if state.line is None or state.line.limit_ohm is None:
        return None
    value_ohm = value * (1e6 if state.stage is Stage.ISOLATION else 1.0)
    if not 0 <= value_ohm <= MOST_OHM:
        raise InputError("value", value, "give a reading that a meter can show, 0 or more")
    limit = state.line.limit_ohm
    right = value_ohm >= limit if state.stage is Stage.ISOLATION else value_ohm <= limit
    if verdict is Verdict.PASSED and not right:
        side = "below" if state.stage is Stage.ISOLATION else "above"
        raise InputError(
            "value", value, f"that is {side} the limit of {ohm_words(limit)}: write it down as failed, or measure again"
        )
    return value_ohm


def record(done: Analysis, of: Sheet, kind: str, release: Release) -> Output:
    """The test record of a loom as "csv", "xlsx" or "pdf". Raises NotFound, InputError, DrawingFailed."""
    block = title_block(done, release)
    units = done.snapshot.job.practice.units
    if kind == "pdf":
        data = record_pdf(block, of.states, units, of.serial)
    elif kind == "xlsx":
        data = write_xlsx(
            [record_table(of.states, units)],
            title=f"{block.job}, {block.variant}",
            footer=f"{block.revision_words} {block.content_hash[:12]}",
        )
    elif kind == "csv":
        data = write_csv(record_table(of.states, units), mark=True)
    else:
        raise NotFound(f"the test record is given as pdf, xlsx or csv, not as {kind!r}")
    parts = [file_stem(done.snapshot, done.variant, release), safe_name(of.serial) if of.serial else ""]
    return Output("_".join(p for p in (*parts, f"test-record.{kind}") if p), data, MEDIA[kind])


def to_do(found: Iterable[LineState]) -> tuple[LineState, ...]:
    """What is not done or passed."""
    return tuple(s for s in found if not s.standing.good)
