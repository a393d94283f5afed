"""The build's records as tables for CSV, XLSX and PDF."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pinmap.core.build.cut_list import Label, SpoolCuts
from pinmap.core.build.parts_list import PartRow
from pinmap.core.build.pin_table import PinTableRow
from pinmap.core.build.rework import Task
from pinmap.core.build.ring_out import RingOut
from pinmap.core.build.splice_table import SpliceRow
from pinmap.core.build.table import BuildRow
from pinmap.exchange.tables import Table, TableColumn

_C = TableColumn


def build_rows_table(rows: Sequence[BuildRow]) -> Table:
    """The pin-to-pin table with every column; the loom's name too where there are several."""
    columns = (
        _C(heading="wire", width=7), _C(heading="signal", width=26), _C(heading="function", width=10),
        _C(heading="from", width=14), _C(heading="from cavity", width=8), _C(heading="from mates", width=20),
        _C(heading="from terminal", width=18), _C(heading="to", width=14), _C(heading="to cavity", width=8),
        _C(heading="to mates", width=20), _C(heading="to terminal", width=18), _C(heading="colour", width=8),
        _C(heading="size mm²", width=8, number=True), _C(heading="size AWG", width=7),
        _C(heading="cut m", width=8, number=True), _C(heading="run m", width=8, number=True),
        _C(heading="insulation", width=18), _C(heading="limit °C", width=8, number=True),
        _C(heading="twist", width=8), _C(heading="screen", width=8), _C(heading="splice", width=8),
        _C(heading="fuse before", width=16), _C(heading="load A", width=8, number=True),
        _C(heading="load case", width=14), _C(heading="drop V", width=8, number=True),
        _C(heading="from evidence", width=18), _C(heading="to evidence", width=18),
        _C(heading="note", width=26), _C(heading="label", width=26),
    )  # fmt: skip
    table = Table(
        name="Build table",
        title="Build table",
        columns=columns,
        rows=tuple(
            (
                r.wire, r.signal_name, r.function_code, r.start.place, r.start.cavity, r.start.mates, r.start.terminal,
                r.end.place, r.end.cavity, r.end.mates, r.end.terminal, r.colour, r.mm2, r.awg, r.cut_m, r.run_m,
                r.insulation, r.limit_c, r.twist, r.screen, ", ".join(r.splices), r.fuse, _rounded(r.load_a, 3),
                r.load_case, _rounded(r.drop_v, 4), r.start.evidence_text, r.end.evidence_text, r.note, r.label,
            )
            for r in rows
        ),
    )  # fmt: skip
    return _with_looms(table, [r.loom for r in rows])


def _with_looms(table: Table, looms: Sequence[str]) -> Table:
    """The table with the loom of each row before it, where looms are named."""
    if not any(looms):
        return table
    rows = tuple((loom, *row) for loom, row in zip(looms, table.rows, strict=True))
    return replace(table, columns=(_C(heading="loom", width=16), *table.columns), rows=rows)


def pins_table(rows: Sequence[PinTableRow]) -> Table:
    """The pin table as a customer reads it."""
    columns = (
        _C(heading="connector", width=14), _C(heading="cavity", width=8), _C(heading="mates", width=22),
        _C(heading="function", width=26), _C(heading="signal", width=26), _C(heading="wires", width=10),
        _C(heading="colour", width=8), _C(heading="leads to", width=40), _C(heading="proven", width=18),
    )  # fmt: skip
    return Table(
        name="Pin table",
        title="Pin table, connector by connector",
        columns=columns,
        rows=tuple(
            (r.connector, r.cavity, r.mates, r.function, r.signal, r.wires, r.colour, "; ".join(r.leads_to), r.evidence)
            for r in rows
        ),
    )


def cut_table(spools: Sequence[SpoolCuts]) -> Table:
    columns = (
        _C(heading="size mm²", width=8, number=True), _C(heading="size AWG", width=7), _C(heading="colour", width=8),
        _C(heading="insulation", width=18), _C(heading="wire", width=7), _C(heading="cut m", width=8, number=True),
        _C(heading="from", width=18), _C(heading="from terminal", width=18), _C(heading="to", width=18),
        _C(heading="to terminal", width=18), _C(heading="twist", width=8), _C(heading="screen", width=8),
        _C(heading="label", width=28),
    )  # fmt: skip
    return Table(
        name="Cut list",
        title="Cut list, by spool, longest first",
        columns=columns,
        rows=tuple(
            (
                s.mm2, s.awg, s.colour, s.insulation, c.wire, c.cut_m, c.start, c.start_terminal, c.end,
                c.end_terminal, c.twist, c.screen, c.label,
            )
            for s in spools
            for c in s.cuts
        ),
    )  # fmt: skip


def splices_table(splices: Sequence[SpliceRow]) -> Table:
    columns = (
        _C(heading="splice", width=8), _C(heading="signal", width=26), _C(heading="where", width=32),
        _C(heading="wire", width=8), _C(heading="colour", width=8), _C(heading="size mm²", width=8, number=True),
        _C(heading="leads to", width=22), _C(heading="total mm²", width=8, number=True),
    )  # fmt: skip
    return Table(
        name="Splices",
        title="Splice table",
        columns=columns,
        rows=tuple(
            (s.splice, s.signal_name, s.where, w.wire, w.colour, w.mm2, w.leads_to, s.total_mm2)
            for s in splices
            for w in s.wires
        ),
    )


def parts_table(parts: Sequence[PartRow]) -> Table:
    columns = (
        _C(heading="group", width=16), _C(heading="item", width=34), _C(heading="detail", width=28),
        _C(heading="in loom", width=9, number=True), _C(heading="buy", width=9, number=True),
        _C(heading="unit", width=6), _C(heading="where", width=36), _C(heading="note", width=30),
    )  # fmt: skip
    return Table(
        name="Parts",
        title="Parts list",
        columns=columns,
        rows=tuple((p.group, p.item, p.detail, p.quantity, p.buy, p.unit, ", ".join(p.where), p.note) for p in parts),
    )


def labels_table(labels: Sequence[Label]) -> Table:
    columns = (_C(heading="wire", width=8), _C(heading="where", width=16), _C(heading="text", width=40))
    return Table(
        name="Labels", title="Wire labels", columns=columns, rows=tuple((x.wire, x.where, x.text) for x in labels)
    )


def continuity_table(plan: RingOut) -> Table:
    columns = (
        _C(heading="no.", width=6, number=True), _C(heading="signal", width=28), _C(heading="from", width=16),
        _C(heading="to", width=16), _C(heading="by wires", width=16), _C(heading="expected Ω", width=10, number=True),
        _C(heading="at most Ω", width=10, number=True), _C(heading="read Ω", width=10), _C(heading="pass", width=6),
    )  # fmt: skip
    table = Table(
        name="Continuity",
        title="Ring-out: continuity",
        columns=columns,
        rows=tuple(
            (
                t.number, t.signal_name, t.start, t.end, ", ".join(t.wires), _rounded(t.expected_ohm, 4),
                _rounded(t.limit_ohm, 4), "", "",
            )
            for t in plan.continuity
        ),
    )  # fmt: skip
    return _with_looms(table, [t.loom for t in plan.continuity])


def isolation_table(plan: RingOut) -> Table:
    columns = (
        _C(heading="no.", width=6, number=True), _C(heading="signal", width=28), _C(heading="from", width=16),
        _C(heading="points of the net", width=40), _C(heading="against", width=26),
        _C(heading="at least MΩ", width=10, number=True), _C(heading="read MΩ", width=10), _C(heading="pass", width=6),
    )  # fmt: skip
    table = Table(
        name="Isolation",
        title="Ring-out: isolation",
        columns=columns,
        rows=tuple(
            (t.number, t.signal_name, t.point, ", ".join(t.points), t.against, t.least_ohm / 1e6, "", "")
            for t in plan.isolation
        ),
    )
    return _with_looms(table, [t.loom for t in plan.isolation])


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def rework_table(tasks: Sequence[Task]) -> Table:
    """What to do to a loom built to an older state."""
    columns = (_C(heading="do", width=10), _C(heading="to", width=16), _C(heading="how", width=60))
    return Table(
        name="Rework", title="Rework", columns=columns, rows=tuple((t.deed.value, t.what, t.how) for t in tasks)
    )
