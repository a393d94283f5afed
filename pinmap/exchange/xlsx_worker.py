"""Reads one sheet of a workbook, alone in a process of its own: a crafted file of a few kilobytes can make the reader
ask for more memory than there is, which ends the whole process. Speaks JSON; knows nothing of Pinmap.

Standard input: the workbook. Arguments: sheet name ("" for the first one with text), most rows, most columns.
Standard output: {"sheet", "sheets", "lines": [[row, [text, ...]], ...], "dates": [[row, column], ...]} or {"error"}.
"""

import sys

try:
    import resource
except ImportError:  # not a Unix: the time limit of the caller still holds
    resource = None  # type: ignore[assignment]  # the module is a name here, nothing else

if resource is not None:
    limits = ((resource.RLIMIT_AS, 1 << 30), (resource.RLIMIT_CPU, 20), (resource.RLIMIT_CORE, 0))
    for which, most in limits:
        try:
            resource.setrlimit(which, (most, most))
        except (ValueError, OSError) as problem:  # some systems refuse a limit on address space
            print(f"limit {which} not set: {problem}", file=sys.stderr)

import datetime
import io
import json

from python_calamine import CalamineError, CalamineWorkbook


def text_of(value: object) -> str:
    """A cell as a spreadsheet shows it: 3.0 is 3, text stays text."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        shown = f"{value:.15g}"
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else shown
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        return value.date().isoformat()
    return str(value)


def main() -> None:
    wanted, most_rows, most_columns = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    workbook = CalamineWorkbook.from_filelike(io.BytesIO(sys.stdin.buffer.read()))
    names = [m.name for m in workbook.sheets_metadata if "WorkSheet" in str(m.typ)]
    if wanted and wanted not in names:
        print(json.dumps({"error": "no-sheet", "sheets": names}))
        return
    answer: dict[str, object] = {"sheet": wanted, "sheets": names, "lines": [], "dates": []}
    for name in [wanted] if wanted else names:
        sheet = workbook.get_sheet_by_name(name)
        if sheet.end is None:
            continue
        rows, columns = sheet.end[0] + 1, sheet.end[1] + 1
        if rows > most_rows or columns > most_columns:
            print(json.dumps({"error": "too-large", "sheet": name, "rows": rows, "columns": columns}))
            return
        lines, dates = [], []
        for number, row in enumerate(sheet.to_python(skip_empty_area=False), start=1):
            cells = [text_of(v) for v in row]
            if any(c.strip() for c in cells):
                lines.append([number, cells])
                dates += [[number, i] for i, v in enumerate(row) if isinstance(v, (datetime.date, datetime.time))]
        if lines:
            answer |= {"sheet": name, "lines": lines, "dates": dates}
            break
    sys.stdout.write(json.dumps(answer))


try:
    main()
except CalamineError as problem:
    print(json.dumps({"error": type(problem).__name__}))
