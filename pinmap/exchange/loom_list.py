"""The looms' runs as a list, both ways: run, from, to, length_mm, zone, covering, fixings, and loom where there are
several.

Fixings are named one after another, each with its distance from the end in ``from`` and its clear diameter: "clip 120
mm ø 14; grommet 300 mm ø 22 part 7".
"""

from __future__ import annotations

import re

from pinmap.core.crossing.edits_run_list import FixingLine, RunLine
from pinmap.core.errors import FileRejected
from pinmap.core.model.jobs import Job
from pinmap.core.model.looms import Fixing
from pinmap.core.model.words import FixingKind
from pinmap.exchange.headings import words
from pinmap.exchange.numbers_in import plain_number
from pinmap.exchange.raw_table import RawTable
from pinmap.exchange.tables import Table, TableColumn

COLUMNS = ("run", "from", "to", "length_mm", "zone", "covering", "fixings", "loom")
_HEADINGS = {
    "run": "run", "segment": "run", "no": "run", "from": "from", "a": "from", "start": "from", "to": "to", "b": "to",
    "end": "to", "length mm": "length_mm", "length": "length_mm", "mm": "length_mm", "zone": "zone", "area": "zone",
    "covering": "covering", "sleeve": "covering", "protection": "covering", "loom": "loom", "harness": "loom",
    "fixings": "fixings", "clips": "fixings",
}  # fmt: skip
_FIXING = re.compile(
    r"(?P<kind>\w+)\s+(?P<at>[\d.,]+)\s*(?:mm)?\s*[,;]?\s*(?:ø|Ø|d|dia)\s*(?P<inner>[\d.,]+)\s*(?:mm)?(?:\s+part\s+(?P<part>.+))?"
)
_UNITS_M = {"": 1e-3, "mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254, "ft": 0.3048}


def table_of(job: Job) -> Table:
    """All runs; ends, zones and looms by name."""
    names = {n.key: n.name or n.key for n in job.nodes}
    zones = {z.key: z.name for z in job.zones}
    looms = {x.key: x.name for x in job.looms}
    columns = COLUMNS if len(looms) > 1 else COLUMNS[:-1]
    return Table(
        name="runs",
        title=f"Runs of {job.name}",
        columns=tuple(TableColumn(heading=c, width=14, number=c == "length_mm") for c in columns),
        rows=tuple(
            (
                s.key,
                _unique(names, s.a),
                _unique(names, s.b),
                s.length_m * 1000,
                zones.get(s.zone, ""),
                s.covering,
                "; ".join(_fixing_words(f) for f in job.fixings if f.segment == s.key),
                _unique(looms, s.loom),
            )[: len(columns)]
            for s in job.segments
        ),
    )


def _fixing_words(f: Fixing) -> str:
    return f"{f.kind.value} {f.at_m * 1000:.12g} mm ø {f.inner_mm:.12g}" + (f" part {f.part}" if f.part else "")


def _fixings(text: str) -> tuple[FixingLine, ...]:
    """Raises ValueError with the words that will not do."""
    out = []
    for piece in filter(None, (p.strip() for p in text.split(";"))):
        found = _FIXING.fullmatch(piece)
        if found is None or found["kind"].lower() not in {k.value for k in FixingKind}:
            raise ValueError(piece)
        at_mm, inner_mm = plain_number(found["at"])[0], plain_number(found["inner"])[0]
        kind = FixingKind(found["kind"].lower())
        out.append(FixingLine(kind, round(at_mm / 1000, 4), inner_mm, (found["part"] or "").strip()))
    return tuple(out)


def _unique(names: dict[str, str], key: str) -> str:
    """The name of a node or loom, its key where another has the same name."""
    return names[key] if list(names.values()).count(names[key]) == 1 else key


def read_runs(table: RawTable) -> tuple[RunLine, ...]:
    """Lines of a list of runs. Raises FileRejected where a column that is needed cannot be found."""
    table = headed(table)
    at: dict[str, int] = {}
    for i, heading in enumerate(table.headings):
        at.setdefault(_HEADINGS.get(words(heading), ""), i)
    lacking = [c for c in ("from", "to", "length_mm") if c not in at]
    if lacking:
        raise FileRejected(
            f"the list has no column {', '.join(lacking)}; its first row should name {', '.join(COLUMNS)}"
        )
    return tuple(_line(number, cells, at) for number, cells in table.numbered_rows)


def headed(table: RawTable) -> RawTable:
    """The table read with the first of its rows that names two columns or more."""
    for number, cells in table.lines:
        if len({_HEADINGS[words(cell)] for cell in cells if words(cell) in _HEADINGS}) > 1:
            return table.with_heading_row(number)
    return table.with_heading_row(0)


def _line(number: int, cells: tuple[str, ...], at: dict[str, int]) -> RunLine:
    given = {column: cells[i].strip() if i < len(cells) else "" for column, i in at.items()}
    length_m, problem = None, ""
    if text := given.get("length_mm", ""):
        value = text.rstrip("acfhimnt.").strip()
        unit = text[len(value) :].strip(" .")
        try:
            length_m = round(plain_number(value)[0] * _UNITS_M[unit], 4)
        except (ValueError, KeyError):
            problem = f"length_mm: {text[:60]!r} will not do; write millimetres, such as 450, or 0.45 m"
    fixings = None
    if text := given.get("fixings", ""):
        try:
            fixings = _fixings(text)
        except ValueError as error:
            wrong = f"fixings: {str(error)[:60]!r} will not do; write such as: clip 120 mm ø 14; grommet 300 mm ø 22"
            problem = problem or wrong
    return RunLine(
        number, given.get("run", ""), given["from"], given["to"], length_m,
        given.get("zone", ""), given.get("covering", ""), problem, given.get("loom", ""), fixings,
    )  # fmt: skip
