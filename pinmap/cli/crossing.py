"""``pinmap cross``: which pin of one list meets which pin of another."""

from __future__ import annotations

import csv
import json as json_lib
import sys
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from pinmap.cli.pinouts import read_platform
from pinmap.core.crossing.propose import cross as cross_platforms
from pinmap.core.facts.functions import dictionary
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Role
from pinmap.exchange.tables_csv import guarded

_COLUMNS = ("from_connector", "from_cavity", "to_connector", "to_cavity", "function", "confidence", "reason")


def cross(
    a: Annotated[Path, typer.Argument(help="Pin list of one side, CSV or XLSX.", exists=True, dir_okay=False)],
    b: Annotated[Path, typer.Argument(help="Pin list of the other side.", exists=True, dir_okay=False)],
    as_csv: Annotated[bool, typer.Option("--csv", help="Comma separated, with a heading row.")] = False,
    json: Annotated[bool, typer.Option("--json", help="Pairs, rivals and what is left, as JSON.")] = False,
) -> None:
    """Propose which pin of A meets which pin of B; what stays unmatched goes to standard error."""
    words = dictionary()
    side_a, side_b = read_platform(a, Role.DONOR, words), read_platform(b, Role.HOST, words)
    side_a, side_b = replace(side_a, key="a"), replace(side_b, key="b")  # keys must differ; files may share a name
    result = cross_platforms(side_a, side_b, words)
    functions = {pin.key(p.key): pin.function for p in (side_a, side_b) for pin in p.pins}
    if json:
        print(
            json_lib.dumps(
                {
                    "pairs": [
                        dict(zip(_COLUMNS, _row(p.a, p.b, p.function, p.confidence, p.reasons), strict=True))
                        | {"level": p.level, "rivals": [{"pin": _short(k), "confidence": c} for k, c in p.rivals]}
                        for p in result.pairs
                    ],
                    "left_a": [{"pin": _short(k), "function": functions[k]} for k in result.left_a],
                    "left_b": [{"pin": _short(k), "function": functions[k]} for k in result.left_b],
                },
                ensure_ascii=False,
                indent=1,
            )
        )
        return
    rows = [_row(p.a, p.b, p.function, p.confidence, p.reasons) for p in result.pairs]
    if as_csv:
        writer = csv.writer(sys.stdout, lineterminator="\n")
        writer.writerow(_COLUMNS)
        writer.writerows([guarded(str(cell)) for cell in row] for row in rows)
    else:
        for row in rows:
            print(f"{row[0]}-{row[1]:<6} {row[2]}-{row[3]:<6} {row[5]:<5} {row[4]}   {row[6]}")
    for name, left in ((a.name, result.left_a), (b.name, result.left_b)):
        for key in left:
            print(f"unmatched in {name}: {_short(key)} {functions[key]}", file=sys.stderr)


def _short(key: PinKey) -> str:
    return f"{key.connector}-{key.cavity}"


def _row(
    a: PinKey, b: PinKey, function: str, confidence: float, reasons: tuple[str, ...]
) -> tuple[str, str, str, str, str, float, str]:
    return (a.connector, a.cavity, b.connector, b.cavity, function, round(confidence, 2), "; ".join(reasons))
