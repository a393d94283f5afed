"""The looms' runs as a list, both ways: run, from, to, length_mm, zone, covering, and loom where there are several."""

from __future__ import annotations

from pinmap.core.crossing.edits_run_list import RunLine
from pinmap.core.errors import FileRejected
from pinmap.core.model.jobs import Job
from pinmap.exchange.headings import words
from pinmap.exchange.numbers_in import plain_number
from pinmap.exchange.raw_table import RawTable
from pinmap.exchange.tables import Table, TableColumn

COLUMNS = ("run", "from", "to", "length_mm", "zone", "covering", "loom")
_HEADINGS = {
    "run": "run", "segment": "run", "no": "run", "from": "from", "a": "from", "start": "from", "to": "to", "b": "to",
    "end": "to", "length mm": "length_mm", "length": "length_mm", "mm": "length_mm", "zone": "zone", "area": "zone",
    "covering": "covering", "sleeve": "covering", "protection": "covering", "loom": "loom", "harness": "loom",
}  # fmt: skip
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
                _unique(looms, s.loom),
            )[: len(columns)]
            for s in job.segments
        ),
    )


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
    return RunLine(
        number, given.get("run", ""), given["from"], given["to"], length_m,
        given.get("zone", ""), given.get("covering", ""), problem, given.get("loom", ""),
    )  # fmt: skip
