"""``pinmap pinout``, and how the command line reads a pin list."""

from __future__ import annotations

import json as json_lib
import re
import sys
from pathlib import Path
from typing import Annotated

import typer

from pinmap.core.errors import FileProblem, FileRejected
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.pinouts import Connector, Platform
from pinmap.core.model.words import Role
from pinmap.exchange.pinout_in import PinoutDraft, guess_headings, parse_rows, read_table
from pinmap.services import pinout_import, platforms
from pinmap.services.shop import open_shop
from pinmap.settings import Settings


def read_draft(path: Path, dictionary: Dictionary) -> PinoutDraft:
    """A file's rows; a table without a connector column is one connector named after the file. Raises FileRejected."""
    table = read_table(path.read_bytes(), path.name)
    headings = guess_headings(table.headings, table.rows)
    default = "" if "connector" in headings.mapping.values() else path.stem
    return parse_rows(table, headings.mapping, None, dictionary, default_connector=default, fill_connector=True)


def read_platform(path: Path, role: Role, dictionary: Dictionary) -> Platform:
    """A file as a platform; rows that cannot be pins are named on standard error, none is dropped in silence.
    Raises FileRejected when no row can be used."""
    draft = read_draft(path, dictionary)
    for row in draft.bad:
        for problem in row.problems:
            print(f"{path.name} row {row.row}: {problem.column}: {problem.reason}", file=sys.stderr)
    if not draft.pins:
        raise FileRejected(f"{path.name} has no usable row; {'; '.join(draft.problems)}".rstrip("; "))
    names = dict.fromkeys(pin.connector for pin in draft.pins)
    key = re.sub(r"[^a-z0-9]+", "-", path.stem.lower()).strip("-") or role.value
    pins = pinout_import.with_codes(draft.pins, dictionary)
    return Platform(key=key, name=path.stem, role=role, connectors=tuple(Connector(name=n) for n in names), pins=pins)


def pinout(
    file: Annotated[Path, typer.Argument(help="CSV or XLSX.", exists=True, dir_okay=False)],
    platform: Annotated[str, typer.Option(help="Key of the platform; made when it is not there.")],
    name: Annotated[str, typer.Option(help="Name of a platform that is made.")] = "",
    role: Annotated[Role, typer.Option(help="Role of a platform that is made.")] = Role.ACCESSORY,
    json: Annotated[bool, typer.Option("--json", help="Answer as JSON.")] = False,
) -> None:
    """Read a pin list into a platform. Nothing is stored while a row has a problem."""
    shop = open_shop(Settings())
    if all(p.key != platform for p in platforms.list_platforms(shop)):
        platforms.create(shop, key=platform, name=name or platform, role=role)
    draft_id = pinout_import.stage(shop, platform, file.read_bytes(), file.name)
    view = pinout_import.get(shop, draft_id)
    bad = view.draft.bad
    if bad or view.draft.problems:
        pinout_import.discard(shop, draft_id, view.version)
        raise FileRejected(
            f"{file.name}: {len(bad)} of {len(view.draft.rows)} rows have problems; nothing was stored. "
            + "; ".join(view.draft.problems),
            tuple(FileProblem(r.row, p.column, p.value, p.reason) for r in bad for p in r.problems),
        )
    pinout_import.take_all(shop, draft_id)
    count = len(view.draft.pins)
    print(json_lib.dumps({"platform": platform, "pins": count}) if json else f"{count} pins read into {platform}")
