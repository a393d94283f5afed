"""Keeping the shop safe from the app's own pages: a backup of the running database to take away, and whether it is
sound. Putting a backup back is for the command line, since it wants the database to itself."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Generator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from pinmap.core.crossing.changes import Change
from pinmap.core.errors import PinmapError
from pinmap.core.model.people import Right
from pinmap.services import audit, backup, integrity
from pinmap.services.audit import Subject
from pinmap.services.backup import Carried
from pinmap.services.integrity import Soundness
from pinmap.services.shop import Shop
from pinmap.store.audit import Entry, Query
from pinmap.store.base import now

_CHUNK_BYTES = 1 << 16
_LISTED = 20
_BACKUP = "backup"  # what the entries of the record of changes are about


@dataclass(frozen=True, slots=True)
class Taken:
    """A backup on its way to whoever asked. ``chunks`` is read once; the file has no name on the server any more and is
    gone with the last of them, or when the reader goes away."""

    filename: str
    size_bytes: int
    carried: Carried
    chunks: Generator[bytes]


def take(shop: Shop) -> Taken:
    """A backup of the database as it stands now, while others go on working; who took it is written down. Raises
    NotAllowed, PinmapError where the server has no room for the file."""
    shop.require(Right.SHOP)
    at = now()
    try:
        with tempfile.TemporaryDirectory(prefix="pinmap-backup-") as folder:
            path = Path(folder) / "shop.zip"
            carried = backup.backup(_address(shop), path)
            file = path.open("rb")
    except OSError as error:
        raise PinmapError(f"the backup could not be written on the server: {os.strerror(error.errno or 0)}") from error
    size_bytes = os.fstat(file.fileno()).st_size
    told = f"{carried.rows:,} rows, {size_bytes:,} bytes, content {carried.content}"
    with shop.write(Right.SHOP) as session:
        audit.record(
            shop, session, Subject.SHOP, _BACKUP, "backup taken", (Change("the whole shop", "backup", "", told),)
        )
    chunks = _read(file)
    next(chunks)
    return Taken(f"pinmap-backup-{at:%Y-%m-%d-%H%M%S}Z.zip", size_bytes, carried, chunks)


def taken(shop: Shop) -> tuple[Entry, ...]:
    """The last backups that were taken from the app's pages, the newest first. Raises NotAllowed."""
    shop.require(Right.SHOP)
    return audit.entries(shop, Query(kind=Subject.SHOP.value, subject=_BACKUP), limit=_LISTED).entries


def soundness(shop: Shop) -> Soundness:
    """What is wrong in the database; changes nothing and holds up nobody. Raises NotAllowed."""
    shop.require(Right.SHOP)
    return integrity.check(_address(shop))


def _address(shop: Shop) -> str:
    return shop.engine.url.render_as_string(hide_password=False)


def _read(file: BinaryIO) -> Generator[bytes]:
    """The file in pieces, after a first empty one: a generator closes only what it has begun with."""
    with file:
        yield b""
        while chunk := file.read(_CHUNK_BYTES):
            yield chunk
