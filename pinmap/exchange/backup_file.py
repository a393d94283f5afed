"""The backup file: a zip of one ``rows/<table>.jsonl`` a table and, last, ``manifest.json``, which says what they are.

A row is one line with a JSON array, its values in the order of the manifest's columns. Nothing in the file depends on
the engine it came from. Files are read in place and never unpacked to disk; what the manifest does not announce is
refused, and no more is read than it announces.
"""

from __future__ import annotations

import os
import re
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pinmap.core.errors import FileProblem, FileRejected, InputError

_MANIFEST = "manifest.json"
_MOST_MANIFEST_BYTES = 4_000_000
_MOST_LINE_BYTES = 256_000_000
_MOST_TABLES = 1_000
# Rows of a real shop pack to a tenth or a twentieth; deflate itself ends at about a thousandth.
_MOST_UNPACKED_TIMES = 200
_ALWAYS_BYTES = 20_000_000
SECRETS = (
    "It holds everything in the database: pinouts, customers' names, and the hashes of passwords, sessions and links. "
    "Whoever has it can read all of that; keep it where only the owner gets at it."
)

_Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,62}$")]
_Hash = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
_Count = Annotated[int, Field(ge=0, lt=2**63)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class TableEntry(_Strict):
    """A table: its columns with their kinds, how many rows and bytes its lines have, and their SHA-256. ``last_id`` is
    the number that the last row got, where rows are numbered."""

    name: _Name
    columns: list[tuple[_Name, _Name]] = Field(max_length=1000)
    rows: _Count
    size_bytes: _Count
    sha256: _Hash
    last_id: _Count | None


class Manifest(_Strict):
    """What the file holds. ``migration`` is the state of the tables; ``content`` is one hash over all of them, the same
    for the same content on any engine."""

    format: Literal["pinmap-backup"] = "pinmap-backup"
    version: Literal[1] = 1
    note: str = SECRETS
    made_with: str
    made: str
    migration: Annotated[str, Field(min_length=1, max_length=64)]
    content: _Hash
    tables: list[TableEntry] = Field(max_length=_MOST_TABLES)


class Writer:
    """Writes tables one after the other, then the manifest."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive

    def table(self, name: str, lines: Iterable[bytes]) -> None:
        """Writes the lines of a table as they come."""
        with self._archive.open(_member(name), "w", force_zip64=True) as out:
            for line in lines:
                out.write(line)

    def manifest(self, manifest: Manifest) -> None:
        """Writes what the tables are."""
        self._archive.writestr(_MANIFEST, manifest.model_dump_json(indent=1))


@contextmanager
def writing(path: Path) -> Iterator[Writer]:
    """A new file that only its owner can read; it appears under its name when it is whole and on the disk. Raises
    InputError when there is such a file."""
    if path.exists():
        raise InputError("file", str(path), "there is such a file; give another name")
    part = path.with_name(f"{path.name}.part-{os.getpid()}")
    try:
        with open(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as raw:
            with zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as archive:
                yield Writer(archive)
            raw.flush()
            os.fsync(raw.fileno())
        os.link(part, path)  # unlike a rename, never over another file
    finally:
        part.unlink(missing_ok=True)


class Reader:
    """An open backup file whose manifest and table of contents have been checked."""

    def __init__(self, archive: zipfile.ZipFile, manifest: Manifest) -> None:
        self._archive, self.manifest = archive, manifest

    def lines(self, entry: TableEntry) -> Iterator[bytes]:
        """The lines of a table, no more than the manifest announces. Raises FileRejected."""
        try:
            with self._archive.open(_member(entry.name)) as member:
                yield from _announced(member, entry)
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
            # what zipfile raises for a damaged, cut off, unknown and encrypted member
            raise FileRejected(f"the rows of table {entry.name} are damaged: {error}; nothing was stored") from None


def _announced(member: IO[bytes], entry: TableEntry) -> Iterator[bytes]:
    left = entry.size_bytes
    for _ in range(entry.rows):
        line = member.readline(min(left, _MOST_LINE_BYTES) + 1)
        left -= len(line)
        if left < 0 or not line.endswith(b"\n"):
            raise FileRejected(f"table {entry.name} is not what the manifest says; nothing was stored")
        yield line
    if left or member.read(1):
        raise FileRejected(f"table {entry.name} is not what the manifest says; nothing was stored")


@contextmanager
def reading(path: Path) -> Iterator[Reader]:
    """An open file. Raises FileRejected for anything but a sound backup."""
    with path.open("rb") as raw:
        size_bytes = os.fstat(raw.fileno()).st_size
        try:
            archive = zipfile.ZipFile(raw)
        except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError):
            raise FileRejected("this is no backup file of Pinmap, or it is cut off") from None
        with archive:
            manifest = _checked(archive, size_bytes)
            yield Reader(archive, manifest)


def _checked(archive: zipfile.ZipFile, size_bytes: int) -> Manifest:
    infos = {info.filename: info for info in archive.infolist()}
    if len(infos) != len(archive.infolist()):
        raise FileRejected("the file has two parts of one name")
    if _MANIFEST not in infos or infos[_MANIFEST].file_size > _MOST_MANIFEST_BYTES:
        raise FileRejected("this is no backup file of Pinmap: it has no manifest")
    for info in infos.values():
        if info.flag_bits & 1 or info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise FileRejected(f"part {_shown(info.filename)} is packed in a way that Pinmap does not use")
    try:
        with archive.open(_MANIFEST) as member:
            text = member.read(_MOST_MANIFEST_BYTES + 1)
        manifest = Manifest.model_validate_json(text)
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        raise FileRejected(f"the manifest is damaged: {error}") from None
    except ValidationError as error:
        problems = tuple(
            FileProblem(0, ".".join(map(str, e["loc"])), repr(e["input"])[:80], e["msg"])
            for e in error.errors(include_url=False)[:20]
        )
        raise FileRejected("the manifest is not one that this version of Pinmap writes", problems) from None
    names = [t.name for t in manifest.tables]
    if len(set(names)) != len(names) or {_MANIFEST, *map(_member, names)} != set(infos):
        raise FileRejected("the file does not hold exactly the tables that its manifest names")
    unpacked = sum(t.size_bytes for t in manifest.tables)
    if unpacked > max(_ALWAYS_BYTES, size_bytes * _MOST_UNPACKED_TIMES):
        raise FileRejected(f"the file of {size_bytes:,} bytes would unpack to {unpacked:,}, which no real backup does")
    return manifest


def _member(table: str) -> str:
    return f"rows/{table}.jsonl"


def _shown(name: str) -> str:
    """A part's name, harmless on a terminal."""
    return re.sub(r"[^ -~]", "?", name)[:80]
