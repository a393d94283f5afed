"""The build packet and the customer's pin table as PDF."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from pinmap.core.build.cautions import BUILD_CAUTIONS, PIN_TABLE_CAUTIONS
from pinmap.core.build.cut_list import Label, SpoolCuts
from pinmap.core.build.ends import EndWords
from pinmap.core.build.parts_list import PartRow
from pinmap.core.build.pin_table import PinTableRow
from pinmap.core.build.ring_out import RingOut
from pinmap.core.build.splice_table import SpliceRow
from pinmap.core.build.table import BuildRow
from pinmap.core.model.words import Evidence
from pinmap.exchange.typesetting import (
    TICK,
    Cell,
    Column,
    Figure,
    TitleBlock,
    figure_section,
    group,
    lines,
    mark,
    row,
    set_document,
    table_section,
)

__all__ = ["Figure", "TitleBlock", "build_pdf", "pin_table_pdf"]


def build_pdf(
    block: TitleBlock,
    rows: Sequence[BuildRow],
    *,
    splices: Sequence[SpliceRow] = (),
    stagger: str = "",
    cuts: Sequence[SpoolCuts] = (),
    parts: Sequence[PartRow] = (),
    labels: Sequence[Label] = (),
    ring_out: RingOut | None = None,
    faces: Sequence[Figure] = (),
    plans: Sequence[Figure] = (),
    gaps: Sequence[str] = (),
    open_findings: Sequence[str] = (),
) -> bytes:
    """The build packet of one variant: cautions, build table, splices, cut list, parts, faces, plan, labels, ring-out.

    ``stagger`` says how splices were kept apart, ``gaps`` in words what could not be routed, ``open_findings`` what the
    rules still say; the latter two stand on the first page, so that nobody takes the table for whole. Raises
    InputError, DrawingFailed.
    """
    sections = [_build_section(rows), _splice_section(splices, stagger)]
    if cuts:
        sections.append(_cut_section(cuts))
    if parts:
        sections.append(_parts_section(parts))
    if faces:
        intro = "Each face says from which side it is seen. Mark pin 1 on the real connector before inserting anything."
        sections.append(figure_section("Connector faces", faces, columns=2, height_mm=68, intro=intro))
    if plans:
        sections.append(figure_section("Loom plan and wiring", plans, columns=1, height_mm=352, paper="a2"))
    if labels:
        sections.append(_label_section(labels))
    if ring_out is not None:
        sections += _ring_out_sections(ring_out)
    pins = [end for r in rows for end in (r.start, r.end) if end.evidence]
    unproven = sum(not end.proven for end in pins)
    remarks = []
    if not block.revision:
        remarks.append("DRAFT: the job may still change. Do not cut wire by a draft; release a revision first.")
    if unproven:
        remarks.append(
            f"{unproven} of {len(pins)} wire ends at platform pins are not measured; they stand in bold with their "
            "evidence on the build table. Measure them before the loom meets a vehicle."
        )
    if gaps:
        remarks.append(f"NOT ROUTED, so not on the build table ({len(gaps)}): " + "; ".join(gaps[:8])
                       + (" and more" if len(gaps) > 8 else ""))  # fmt: skip
    if open_findings:
        remarks.append(f"Open findings ({len(open_findings)}): " + "; ".join(open_findings[:8])
                       + (" and more" if len(open_findings) > 8 else ""))  # fmt: skip
    facts = [
        ("Wires", f"{len(rows)} wires, {sum(r.cut_m for r in rows):.1f} m to cut"),
        ("Splices", str(len(splices))),
    ]
    return set_document("Build packet", block, sections, facts=facts, remarks=remarks, cautions=BUILD_CAUTIONS)


def pin_table_pdf(block: TitleBlock, rows: Sequence[PinTableRow], *, expires: str = "") -> bytes:
    """The customer's pin table of one revision and variant, in portrait. Raises InputError, DrawingFailed."""
    columns = (
        Column(heading="Cavity", width=0, mono=True), Column(heading="Signal", width=2.4),
        Column(heading="Wire", width=0.8, mono=True), Column(heading="Colour", width=0.8),
        Column(heading="Leads to", width=3.2), Column(heading="Evidence", width=1.3),
    )  # fmt: skip
    body: list[dict[str, Any]] = []
    for (connector, mates), found in groupby(rows, key=lambda r: (r.connector, r.mates)):
        body.append(group(f"{connector}, plugs into {mates}"))
        for r in found:
            words = lines(r.signal, r.function if r.function != r.signal else "")
            body.append(row(mark(r.cavity), words, r.wires, r.colour, _list(r.leads_to, 12), _evidence(r.evidence)))
    facts = [("Pins", str(len(rows)))] + ([("Valid until", expires)] if expires else [])
    section = table_section("Pins by connector", columns, body, size=8.5)
    return set_document(
        "Pin table", block, [section], facts=facts, cautions=PIN_TABLE_CAUTIONS, landscape=False,
        remarks=() if block.revision else ("DRAFT: this table may still change.",),
    )  # fmt: skip


def _list(items: Sequence[str], most: int) -> str:
    return ", ".join(items[:most]) + (f" and {len(items) - most} more" if len(items) > most else "")


def _evidence(text: str) -> Cell:
    """What is not measured stands out in bold."""
    return text if text.startswith(Evidence.MEASURED.value) else mark(text)


def _end(end: EndWords) -> Cell:
    return lines(end.label, end.mates or end.function, end.terminal)


def _number(value: float | None, digits: int) -> str:
    return "" if value is None else f"{value:.{digits}f}"


def _build_section(rows: Sequence[BuildRow]) -> dict[str, Any]:
    columns = (
        Column(heading="Wire", width=0), Column(heading="Signal", width=2.6), Column(heading="From", width=2.5),
        Column(heading="To", width=2.5), Column(heading="Colour", width=0), Column(heading="mm²", width=0, right=True),
        Column(heading="Cut m", width=0, right=True), Column(heading="Twist, screen", width=0.9),
        Column(heading="Fuse before", width=1.2), Column(heading="Load A", width=0, right=True),
        Column(heading="Drop V", width=0, right=True), Column(heading="Limit °C", width=0, right=True),
        Column(heading="Evidence from / to", width=2), Column(heading="Note", width=1.8),
        Column(heading="Done", width=0), Column(heading="Tested", width=0),
    )  # fmt: skip
    body: list[dict[str, Any]] = []
    loom = ""
    for r in rows:
        if r.loom != loom:
            loom = r.loom
            body.append(group(loom))
        groups = ", ".join(x for x in (r.twist and f"T {r.twist}", r.screen and f"S {r.screen}") if x)
        proofs = [f"{word}: {e.evidence_text}" for word, e in (("from", r.start), ("to", r.end)) if e.evidence]
        proof: Cell = "\n".join(proofs) if r.proven else mark("\n".join(proofs))
        load = lines("", _number(r.load_a, 2), r.load_case) if r.load_a is not None else ""
        if isinstance(load, dict):
            load = {"lines": load["lines"][1:]}
        body.append(
            row(
                mark(r.wire), lines(r.signal_name, r.function_code), _end(r.start), _end(r.end), mark(r.colour),
                {"lines": [f"{r.mm2:g}", f"{r.awg} AWG"]}, f"{r.cut_m:.3f}", groups, r.fuse, load,
                _number(r.drop_v, 3), _number(r.limit_c, 0), proof, r.note, TICK, TICK,
            )
        )  # fmt: skip
    intro = (
        "One row is one wire. From and to name the loom connector, device or splice; below stand what the connector "
        "plugs into and the terminal. Pins that nobody measured have their evidence in bold."
    )
    return table_section("Build table", columns, body, intro=intro, size=7.5)


def _splice_section(splices: Sequence[SpliceRow], stagger: str) -> dict[str, Any]:
    columns = (
        Column(heading="Wire", width=0.8), Column(heading="Colour", width=0.8),
        Column(heading="mm²", width=0.8, right=True), Column(heading="Leads to", width=5),
        Column(heading="Done", width=0),
    )  # fmt: skip
    body: list[dict[str, Any]] = []
    for s in splices:
        body.append(group(f"{s.splice}   {s.signal_name}   {s.where}   {s.total_mm2:g} mm² in all"))
        body += [row(mark(w.wire), w.colour, f"{w.mm2:g}", w.leads_to, TICK) for w in s.wires]
    return table_section("Splice table", columns, body, intro=stagger, size=8.5)


def _cut_section(cuts: Sequence[SpoolCuts]) -> dict[str, Any]:
    columns = (
        Column(heading="Wire", width=1), Column(heading="Cut m", width=1, right=True), Column(heading="From", width=2),
        Column(heading="Terminal", width=2.4), Column(heading="To", width=2), Column(heading="Terminal", width=2.4),
        Column(heading="Twist, screen", width=1.6), Column(heading="Cut", width=0),
    )  # fmt: skip
    body: list[dict[str, Any]] = []
    for s in cuts:
        body.append(group(f"{s.mm2:g} mm² ({s.awg} AWG)   {s.colour or 'no colour given'}   {s.insulation}   "
                          f"{len(s.cuts)} {'piece' if len(s.cuts) == 1 else 'pieces'}, {s.total_m:.2f} m"))  # fmt: skip
        body += [
            row(
                mark(c.wire), f"{c.cut_m:.3f}", c.start, c.start_terminal, c.end, c.end_terminal,
                ", ".join(x for x in (c.twist and f"T {c.twist}", c.screen and f"S {c.screen}") if x), TICK,
            )
            for c in s.cuts
        ]  # fmt: skip
    intro = "By spool, the longest first. Label both ends before cutting. Lengths hold service loops and strip lengths."
    return table_section("Cut list", columns, body, intro=intro, size=8)


def _parts_section(parts: Sequence[PartRow]) -> dict[str, Any]:
    columns = (
        Column(heading="Item", width=3), Column(heading="Detail", width=2.6),
        Column(heading="In loom", width=0, right=True), Column(heading="Buy", width=0, right=True),
        Column(heading="", width=0), Column(heading="Where", width=3), Column(heading="Note", width=2),
    )  # fmt: skip
    body: list[dict[str, Any]] = []
    for name, found in groupby(parts, key=lambda p: p.group):
        body.append(group(name))
        for p in found:
            digits = 2 if p.unit == "m" else 0
            body.append(
                row(p.item, p.detail, _number(p.quantity, digits), mark(_number(p.buy, 0)), p.unit, _list(p.where, 20),
                    mark(p.note))
            )  # fmt: skip
    intro = (
        "Buy holds spares: 20 % of terminals, seals, plugs, splices, at least one, and 10 % of wire (common practice)."
    )
    return table_section("Parts list", columns, body, intro=intro, size=8)


def _label_section(labels: Sequence[Label]) -> dict[str, Any]:
    columns = (
        Column(heading="Wire", width=1), Column(heading="Where", width=2), Column(heading="Text", width=4, mono=True),
        Column(heading="Labels", width=0, right=True), Column(heading="Done", width=0),
    )  # fmt: skip
    body = []
    for wire, found in groupby(labels, key=lambda x: x.wire):
        here = list(found)
        body.append(row(mark(wire), " and ".join(x.where for x in here), here[0].text, str(len(here)), TICK))
    return table_section("Wire labels", columns, body, size=8)


def _ring_out_sections(plan: RingOut) -> list[dict[str, Any]]:
    columns = (
        Column(heading="No.", width=0, right=True), Column(heading="Signal", width=3),
        Column(heading="From", width=1.6), Column(heading="To", width=1.6), Column(heading="By wires", width=1.6),
        Column(heading="Expected Ω", width=0, right=True), Column(heading="At most Ω", width=0, right=True),
        Column(heading="Read Ω", width=1.2), Column(heading="Pass", width=0),
    )  # fmt: skip
    body: list[dict[str, Any]] = []
    for loom, tests in groupby(plan.continuity, key=lambda t: t.loom):
        body += [group(f"{loom}, unplugged")] if loom else []
        body += [
            row(t.number, t.signal_name, mark(t.start), mark(t.end), _list(t.wires, 8), f"{t.expected_ohm:.4f}",
                mark(f"{t.limit_ohm:.3f}"), "", TICK)
            for t in tests
        ]  # fmt: skip
    first = table_section(
        "Ring-out: continuity", columns, body, intro=f"{plan.caution} Null the leads first. {plan.source}.", size=8
    )
    isolation_columns = (
        Column(heading="No.", width=0, right=True), Column(heading="Signal", width=3),
        Column(heading="From", width=1.6), Column(heading="Points of the net", width=4),
        Column(heading="Against", width=2), Column(heading="At least MΩ", width=0, right=True),
        Column(heading="Read MΩ", width=1.2), Column(heading="Pass", width=0),
    )  # fmt: skip
    body = []
    for loom, nets in groupby(plan.isolation, key=lambda t: t.loom):
        body += [group(f"{loom}, unplugged")] if loom else []
        body += [
            row(t.number, t.signal_name, mark(t.point), _list(t.points, 16), t.against,
                mark(f"{t.least_ohm / 1e6:g}"), "", TICK)
            for t in nets
        ]  # fmt: skip
    second = table_section(
        "Ring-out: isolation",
        isolation_columns,
        body,
        intro=f"{plan.caution} At 100 to 500 V DC; common practice.",
        size=8,
    )
    return [first, second]
