"""Backup files that somebody else has made."""

from __future__ import annotations

import hashlib
import json
import random
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pinmap.core.errors import FileRejected
from pinmap.exchange.backup_file import Manifest, TableEntry, reading, writing

LINES = [b'[1,"a"]\n', b'[2,"b"]\n']
DATA = b"".join(LINES)


def entry(**changes: Any) -> TableEntry:
    values: dict[str, Any] = {
        "name": "job", "columns": [("id", "integer"), ("key", "text")], "rows": 2, "size_bytes": len(DATA),
        "sha256": hashlib.sha256(DATA).hexdigest(), "last_id": 2,
    }  # fmt: skip
    return TableEntry(**values | changes)


def manifest(*tables: TableEntry) -> Manifest:
    return Manifest(made_with="0", made="today", migration="0001", content="0" * 64, tables=list(tables))


@pytest.fixture
def good(tmp_path: Path) -> Path:
    path = tmp_path / "good.zip"
    with writing(path) as file:
        file.table("job", LINES)
        file.manifest(manifest(entry()))
    return path


def read_all(path: Path) -> list[bytes]:
    with reading(path) as file:
        return [line for table in file.manifest.tables for line in file.lines(table)]


def test_what_was_written_is_read(good: Path) -> None:
    assert read_all(good) == LINES


def made(path: Path, parts: dict[str, bytes], *, packed: int = zipfile.ZIP_DEFLATED) -> Path:
    with zipfile.ZipFile(path, "w", packed) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return path


def with_manifest(**changes: Any) -> bytes:
    return json.dumps(manifest(entry()).model_dump() | changes).encode()


HEAD = with_manifest()
BAD_PARTS: dict[str, dict[str, bytes]] = {
    "empty": {},
    "no manifest": {"rows/job.jsonl": DATA},
    "no rows": {"manifest.json": HEAD},
    "a part too many": {"rows/job.jsonl": DATA, "rows/other.jsonl": b"", "manifest.json": HEAD},
    "a path out of the folder": {"rows/job.jsonl": DATA, "../../etc/passwd": b"x", "manifest.json": HEAD},
    "an absolute path": {"/rows/job.jsonl": DATA, "manifest.json": HEAD},
    "a manifest that is no JSON": {"rows/job.jsonl": DATA, "manifest.json": b"{"},
    "a deep manifest": {"rows/job.jsonl": DATA, "manifest.json": b"[" * 200_000},
    "another format": {"rows/job.jsonl": DATA, "manifest.json": with_manifest(format="other")},
    "another version": {"rows/job.jsonl": DATA, "manifest.json": with_manifest(version=2)},
    "an unknown field": {"rows/job.jsonl": DATA, "manifest.json": with_manifest(extra=1)},
    "a wrong type": {"rows/job.jsonl": DATA, "manifest.json": with_manifest(tables={"job": 1})},
    "a huge manifest": {"rows/job.jsonl": DATA, "manifest.json": HEAD + b" " * 5_000_000},
}


@pytest.mark.parametrize("parts", BAD_PARTS.values(), ids=BAD_PARTS.keys())
def test_a_file_that_is_not_as_pinmap_writes_it_is_refused(parts: dict[str, bytes], tmp_path: Path) -> None:
    with pytest.raises(FileRejected):
        read_all(made(tmp_path / "bad.zip", parts))


@pytest.mark.parametrize(
    "changes",
    [
        {"name": "../job"},
        {"name": "Job"},
        {"name": "job; drop"},
        {"rows": -1},
        {"rows": 2.0},
        {"size_bytes": 2**70},
        {"sha256": "x"},
        {"last_id": "2"},
    ],
)
def test_an_entry_that_says_nonsense_is_refused(changes: dict[str, Any], tmp_path: Path) -> None:
    table = entry().model_dump() | changes
    parts = {f"rows/{table['name']}.jsonl": DATA, "manifest.json": with_manifest(tables=[table])}
    with pytest.raises(FileRejected, match="manifest"):
        read_all(made(tmp_path / "bad.zip", parts))


@pytest.mark.parametrize(
    ("rows", "data"),
    [(1, DATA), (3, DATA), (2, DATA + b"x"), (2, DATA[:-1]), (2, b"[1]\n" * 50), (0, DATA)],
    ids=["fewer", "more", "something behind", "cut off", "other lines", "none"],
)
def test_no_more_is_read_than_is_announced(rows: int, data: bytes, tmp_path: Path) -> None:
    parts = {"rows/job.jsonl": data, "manifest.json": with_manifest(tables=[entry(rows=rows).model_dump()])}
    with pytest.raises(FileRejected, match="not what the manifest says"):
        read_all(made(tmp_path / "bad.zip", parts))


def test_a_bomb_that_says_so_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    data = b'[1,"' + b"a" * 30_000_000 + b'"]\n'
    table = entry(rows=1, size_bytes=len(data), sha256=hashlib.sha256(data).hexdigest())
    path = made(
        tmp_path / "bomb.zip", {"rows/job.jsonl": data, "manifest.json": manifest(table).model_dump_json().encode()}
    )
    assert path.stat().st_size < 50_000
    with pytest.raises(FileRejected, match="would unpack"):
        read_all(path)


def test_a_bomb_that_hides_is_read_no_further_than_announced(tmp_path: Path) -> None:
    path = made(tmp_path / "bomb.zip", {"rows/job.jsonl": b"0" * 300_000_000, "manifest.json": HEAD})
    with reading(path) as file:
        taken = file.lines(file.manifest.tables[0])
        with pytest.raises(FileRejected, match="not what the manifest says"):
            next(taken)


def test_two_parts_of_one_name_are_refused(good: Path) -> None:
    with zipfile.ZipFile(good, "a") as archive, pytest.warns(UserWarning, match="Duplicate"):
        archive.writestr("rows/job.jsonl", DATA)
    with pytest.raises(FileRejected, match="one name"):
        read_all(good)


def test_a_foreign_way_of_packing_is_refused(tmp_path: Path) -> None:
    path = made(tmp_path / "bad.zip", {"rows/job.jsonl": DATA, "manifest.json": HEAD}, packed=zipfile.ZIP_LZMA)
    with pytest.raises(FileRejected, match="packed"):
        read_all(path)


def _cut(data: bytes) -> bytes:
    return data[: len(data) // 2]


def _encrypted(data: bytes) -> bytes:
    """The same with every part said to be encrypted."""
    at = data.index(b"PK\x01\x02")
    while at >= 0:
        (flags,) = struct.unpack_from("<H", data, at + 8)
        data = data[: at + 8] + struct.pack("<H", flags | 1) + data[at + 10 :]
        at = data.find(b"PK\x01\x02", at + 4)
    return data


@pytest.mark.parametrize("change", [_cut, _encrypted, lambda _: b"", lambda _: b"PK\x05\x06", lambda _: b"%PDF-1.7"])
def test_a_damaged_file_is_refused(change: Callable[[bytes], bytes], good: Path) -> None:
    good.write_bytes(change(good.read_bytes()))
    with pytest.raises(FileRejected):
        read_all(good)


def test_flipped_bits_are_noticed_or_harmless(good: Path, tmp_path: Path) -> None:
    """Whatever bit is wrong: the same rows, or a refusal; never other rows, never another error."""
    whole = good.read_bytes()
    chance = random.Random(5)
    for _ in range(400):
        data = bytearray(whole)
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        path = tmp_path / "flipped.zip"
        path.write_bytes(bytes(data))
        try:
            assert read_all(path) == LINES
        except FileRejected:
            continue


def test_what_could_not_be_finished_leaves_no_file(tmp_path: Path) -> None:
    path = tmp_path / "b.zip"
    with pytest.raises(ZeroDivisionError), writing(path) as file:
        file.table("job", (LINES[0] * (1 // n) for n in (1, 0)))
    assert list(tmp_path.iterdir()) == []
