"""The test record of one loom: what was checked off at the bench, by whom, and what was read."""

from __future__ import annotations

from collections.abc import Sequence

from pinmap.core.build.cautions import BUILD_CAUTIONS
from pinmap.core.build.check_off import LineState, Standing, entry_words, ohm_words, progress
from pinmap.core.build.ring_out import CAUTION
from pinmap.core.model.bench import Stage
from pinmap.exchange.tables import Table, TableColumn
from pinmap.exchange.typesetting import Column, TitleBlock, lines, mark, row, set_document, table_section

_C = TableColumn
_TITLES = {
    Stage.CUT: "Wires cut",
    Stage.ENDS: "Ends crimped and inserted",
    Stage.CONTINUITY: "Continuity",
    Stage.ISOLATION: "Isolation",
}
_LIMITS = {Stage.CONTINUITY: "At most", Stage.ISOLATION: "At least"}


def record_table(states: Sequence[LineState], units: str) -> Table:
    """What was checked off of one loom, line by line as it stands; the last word on each, then all words before it."""
    columns = (
        _C(heading="list", width=12), _C(heading="line", width=30), _C(heading="signal", width=28),
        _C(heading="what", width=44), _C(heading="stands", width=12), _C(heading="limit Ω", width=12, number=True),
        _C(heading="read Ω", width=12, number=True), _C(heading="who", width=18), _C(heading="when UTC", width=18),
        _C(heading="note", width=30), _C(heading="written before", width=40),
    )  # fmt: skip
    return Table(
        name="Test record",
        title="Test record",
        columns=columns,
        rows=tuple(
            (
                s.stage.value,
                s.name,
                s.line.signal_name if s.line is not None else "",
                ", ".join(f"{n} {v}" for n, v in s.content_words(units) if v),
                s.standing.value,
                s.line.limit_ohm if s.line is not None else None,
                s.last.value_ohm if s.last is not None else None,
                s.last.who if s.last is not None else "",
                f"{s.last.at:%Y-%m-%d %H:%M}" if s.last is not None else "",
                s.last.note if s.last is not None else "",
                " | ".join(entry_words(e) for e in s.history[:-1]),
            )
            for s in states
        ),
    )


def record_pdf(block: TitleBlock, states: Sequence[LineState], units: str, serial: str = "") -> bytes:
    """The test record as a document. Raises InputError, DrawingFailed."""
    sections = []
    facts = [("Serial number", serial or "none")]
    for stage, title in _TITLES.items():
        found = [s for s in states if s.stage is stage]
        far = progress(found)
        facts.append((title, far.words("passed" if stage.measured else "done")))
        if found:
            sections.append(_section(title, stage, found, units))
    open_lines = sum(not s.standing.good for s in states)
    remarks = [] if block.revision else ["DRAFT: measured against the job as it is now, which may still change."]
    if open_lines:
        remarks.append(f"NOT FINISHED: {open_lines} of {len(states)} lines are to do, failed, or to do again; in bold.")
    return set_document("Test record", block, sections, facts=facts, remarks=remarks, cautions=BUILD_CAUTIONS)


def _brief(state: LineState, units: str) -> str:
    """What a line is about in a few words; the tables as files have all of it."""
    words = dict(state.content_words(units))
    if state.stage is Stage.CONTINUITY:
        return "by " + ", ".join(name for name in words if name.startswith("wire "))
    if state.stage is Stage.ISOLATION:
        return words["points"]
    last = "cut" if state.stage is Stage.CUT else "terminal"
    return ", ".join(x for x in (words["size"], words["colour"], words[last]) if x)


def _section(title: str, stage: Stage, found: Sequence[LineState], units: str) -> dict[str, object]:
    columns = [
        Column(heading="Line", width=2), Column(heading="Signal", width=2), Column(heading="What", width=2.6),
        Column(heading=_LIMITS.get(stage, ""), width=0, right=True), Column(heading="Read", width=0, right=True),
        Column(heading="Stands", width=0), Column(heading="Who, when", width=1.8), Column(heading="Note", width=2),
    ]  # fmt: skip
    body = [
        row(
            mark(s.name),
            s.line.signal_name if s.line is not None else "",
            _brief(s, units),
            ohm_words(s.line.limit_ohm) if s.line is not None and s.line.limit_ohm is not None else "",
            ohm_words(s.last.value_ohm) if s.last is not None and s.last.value_ohm is not None else "",
            s.standing.value if s.standing.good else mark(s.standing.value),
            lines(s.last.who, f"{s.last.at:%Y-%m-%d %H:%M} UTC")
            if s.last is not None and s.standing is not Standing.OPEN
            else "",
            s.last.note if s.last is not None else "",
        )
        for s in found
    ]
    return table_section(title, columns, body, intro=CAUTION if stage.measured else "", size=7.5)
