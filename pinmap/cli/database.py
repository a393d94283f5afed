"""``pinmap backup``, ``restore``, ``move`` and ``integrity``."""

from __future__ import annotations

import json as json_lib
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from pinmap.exchange.backup_file import SECRETS
from pinmap.services import backup as backups
from pinmap.services import integrity as soundness
from pinmap.settings import Settings
from pinmap.store.engine import shown_url

JsonOpt = Annotated[bool, typer.Option("--json", help="Answer as JSON.")]
ReplaceOpt = Annotated[bool, typer.Option("--replace", help="Throw away what the database holds now.")]


def _tell(carried: backups.Carried, done: str, json: bool, **more: object) -> None:
    if json:
        print(json_lib.dumps(asdict(carried) | {"rows": carried.rows, **more}, indent=1))
        return
    for line in carried.tables:
        print(f"{line.table:<20}{line.rows:>10,} rows   sha256 {line.sha256}")
    print(f"{done}: {carried.rows:,} rows in {len(carried.tables)} tables, content {carried.content}")


def backup(
    file: Annotated[Path, typer.Argument(help="A new file; one that is there already is never written over.")],
    json: JsonOpt = False,
) -> None:
    """Back up the database into one file while others go on working; the file is for both engines."""
    carried = backups.backup(Settings().database_url, file)
    size_bytes = file.stat().st_size
    _tell(
        carried, f"written to {file} ({size_bytes:,} bytes)", json, file=str(file), size_bytes=size_bytes, note=SECRETS
    )
    if not json:
        print(SECRETS)


def restore(
    file: Annotated[Path, typer.Argument(help="A file that pinmap backup wrote.")],
    replace: ReplaceOpt = False,
    json: JsonOpt = False,
) -> None:
    """Put a backup into an empty database: all of it, compared by count and hash, or nothing."""
    url = Settings().database_url
    carried = backups.restore(url, file, replace=replace)
    _tell(carried, f"restored into {shown_url(url)}", json, database=shown_url(url))


def move(
    to: Annotated[
        str, typer.Option(help="Address of an empty database: sqlite:///FILE or postgresql://USER@HOST/NAME.")
    ],
    replace: ReplaceOpt = False,
    json: JsonOpt = False,
) -> None:
    """Copy the database into another one of either engine, compared table by table; the old one stays as it is."""
    carried = backups.move(Settings().database_url, to, replace=replace)
    _tell(carried, f"copied to {shown_url(to)}, every count and hash equal", json, database=shown_url(to))
    if not json:
        print("From now on start Pinmap with PINMAP_DATABASE_URL set to that address.")


def integrity(json: JsonOpt = False) -> None:
    """Say what is wrong in the database, by table and row; exit status 0 when nothing is, 1 when something is."""
    found = soundness.check(Settings().database_url)
    if json:
        print(json_lib.dumps(asdict(found) | {"sound": not found.faults}, ensure_ascii=False, indent=1))
    else:
        for fault in found.faults:
            print(": ".join(part for part in (fault.table, fault.row, fault.what) if part))
        if found.migration != found.newest:
            print(
                f"the tables stand at migration {found.migration}, this Pinmap's at {found.newest}; "
                "platforms, jobs and revisions were not looked at"
            )
        print(
            f"{len(found.faults)} faults; {found.tables} tables, {found.platforms} platforms, {found.jobs} jobs, "
            f"{found.revisions} revisions looked at"
        )
    raise typer.Exit(1 if found.faults else 0)
