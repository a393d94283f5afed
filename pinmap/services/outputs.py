"""What leaves Pinmap as files: each output of a variant by name, the same for web and command line."""

from __future__ import annotations

import io
import re
import unicodedata
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pinmap.core.build.cut_list import cut_list, label_list
from pinmap.core.build.parts_list import parts_list
from pinmap.core.build.pin_table import pin_table
from pinmap.core.build.ring_out import ring_out
from pinmap.core.build.splice_table import splice_table, stagger_words
from pinmap.core.errors import InputError, NotFound
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.board import PAPERS, Board, Tiling, on_roll, tiled
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.words import Severity
from pinmap.exchange import build_tables, job_json, pinout_out
from pinmap.exchange.board_pdf import board_pdf
from pinmap.exchange.dxf import write_dxf
from pinmap.exchange.pdf import Figure, TitleBlock, build_pdf
from pinmap.exchange.tables import Table
from pinmap.exchange.tables_csv import write_csv
from pinmap.exchange.tables_xlsx import write_xlsx
from pinmap.services import drawings, platforms
from pinmap.services.analysis import Analysis, analyse, findings, own_entries
from pinmap.services.memory import Memory
from pinmap.services.shop import Shop
from pinmap.store.releases import RevisionLine

MEDIA = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "pdf": "application/pdf",
    "svg": "image/svg+xml",
    "dxf": "image/vnd.dxf",
    "json": "application/json",
    "zip": "application/zip",
}
ROLL_MM = 914.0  # 36 inches, the usual plotter's roll


@dataclass(frozen=True, slots=True)
class Output:
    """One file; ``filename`` is safe as a name on every system and in a header."""

    filename: str
    data: bytes
    media_type: str


@dataclass(frozen=True, slots=True)
class Release:
    """What a title block says of a revision; empty for a draft."""

    letter: str = ""
    date: str = ""
    author: str = ""


_DRAFT = Release()


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is asked for beside the name; see ``make``."""

    release: Release = _DRAFT
    group: str = ""
    roll_mm: float = ROLL_MM
    loom: str = ""


def released(line: RevisionLine) -> Release:
    """What a title block says of this revision."""
    return Release(line.letter, f"{line.created:%Y-%m-%d}", line.author)


def safe_name(text: str, longest: int = 80) -> str:
    """Text as part of a file name: ASCII letters, digits, dot, dash and underscore, never empty, never hidden."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    plain = re.sub(r"[^A-Za-z0-9._-]+", "-", plain)
    plain = re.sub(r"\.{2,}", ".", plain).strip("-._")[:longest].rstrip("-._")
    return plain or "file"


def make(
    snapshot: Snapshot,
    variant: Variant,
    name: str,
    words: Dictionary | None = None,
    *,
    release: Release = _DRAFT,
    group: str = "",
    roll_mm: float = ROLL_MM,
    loom: str = "",
) -> Output:
    """One output of a variant. ``group`` limits ``wiring-map.svg`` to the map of this title; ``roll_mm`` is the width
    of the roll that ``board-plan-roll.pdf`` is for; ``loom`` limits plans to one of the job's looms. Raises NotFound
    for a name that is not in NAMES, InputError for a roll that will not do and for a loom that is not there or of which
    the file has no part of its own, DrawingFailed when a drawing could not be made."""
    kind = name.rpartition(".")[2]
    if name not in NAMES:
        raise NotFound(f"there is no output {name!r}; there are {', '.join(NAMES)}")
    if loom and not is_plan(name):
        raise InputError("loom", loom, f"{name} is about all looms; only plans are drawn of one")
    data = _MAKERS[name](analyse(snapshot, variant, words), _Asked(release, group, roll_mm, loom))
    stem = file_stem(snapshot, variant, release) + (f"_{safe_name(loom, 40)}" if loom else "")
    return Output(f"{stem}_{name}", data, MEDIA[kind])


def is_plan(name: str) -> bool:
    """Whether an output can be made of one loom alone."""
    return name.startswith(("loom-plan", "board-plan"))


def file_stem(snapshot: Snapshot, variant: Variant, release: Release) -> str:
    """How the name of a file about a variant begins."""
    parts = [snapshot.job.key, f"rev-{release.letter}" if release.letter else ""]
    if len(snapshot.variants) > 1:
        parts.append(safe_name(variant.key, 60))
    return "_".join(safe_name(p) for p in parts if p)


def pinout(shop: Shop, platform_key: str, kind: str) -> Output:
    """A platform's pins as "csv" or "xlsx". Raises NotFound."""
    platform = platforms.get(shop, platform_key).platform
    if kind not in ("csv", "xlsx"):
        raise NotFound(f"a pinout is given as csv or xlsx, not as {kind!r}")
    data = pinout_out.pinout_csv(platform) if kind == "csv" else pinout_out.pinout_xlsx(platform)
    return Output(f"{safe_name(platform.key)}_pinout.{kind}", data, MEDIA[kind])


def job_file(snapshot: Snapshot) -> Output:
    """The job file."""
    return Output(f"{safe_name(snapshot.job.key)}.json", job_json.dump(snapshot), MEDIA["json"])


_TABLES: Memory[dict[str, tuple[Table, ...]]] = Memory(8)


def tables(done: Analysis) -> dict[str, tuple[Table, ...]]:
    """The lists of a variant by the stem of their file name; remembered by content, as the ring-out takes time."""
    key = (done.snapshot.content_hash, done.variant.key, own_entries(done.dictionary))
    return _TABLES.get(key, lambda: _tables(done))


def _tables(done: Analysis) -> dict[str, tuple[Table, ...]]:
    snapshot, rows = done.snapshot, done.build_rows
    plan = ring_out(snapshot, done.routing)
    return {
        "build-table": (build_tables.build_rows_table(rows),),
        "pin-table": (build_tables.pins_table(pin_table(snapshot, done.variant, rows)),),
        "cut-list": (build_tables.cut_table(cut_list(rows)),),
        "splices": (build_tables.splices_table(splice_table(snapshot, done.routing)),),
        "parts-list": (build_tables.parts_table(parts_list(snapshot, done.variant, done.routing)),),
        "labels": (build_tables.labels_table(label_list(rows)),),
        "ring-out": (build_tables.continuity_table(plan), build_tables.isolation_table(plan)),
    }


def _csv(stem: str) -> Callable[[Analysis, _Asked], bytes]:
    def write(done: Analysis, _asked: _Asked) -> bytes:
        found = tables(done)[stem]
        return b"\r\n".join(write_csv(table, mark=i == 0) for i, table in enumerate(found))

    return write


def _xlsx(stem: str) -> Callable[[Analysis, _Asked], bytes]:
    def write(done: Analysis, asked: _Asked) -> bytes:
        block = title_block(done, asked.release)
        footer = f"{block.revision_words} {done.snapshot.content_hash[:12]}"
        found = tables(done)
        # the workbook of the build table has the whole packet, one list a sheet
        sheets = [t for group in found.values() for t in group] if stem == "build-table" else list(found[stem])
        return write_xlsx(sheets, title=f"{block.job}, {block.variant}", footer=footer)

    return write


def title_block(done: Analysis, release: Release = _DRAFT) -> TitleBlock:
    """What stands on every printed page."""
    job = done.snapshot.job
    return TitleBlock(
        job=job.name,
        variant=done.snapshot.variant_label(done.variant),
        revision=release.letter,
        content_hash=done.snapshot.content_hash,
        date=release.date,
        customer=job.customer,
        made_by=release.author,
    )


def _pdf(done: Analysis, asked: _Asked) -> bytes:
    snapshot, variant, rows = done.snapshot, done.variant, done.build_rows
    accepted = {a.finding for a in snapshot.job.acceptances}
    standing = [
        f"{f.severity.value} {f.rule} {f.title}: {', '.join(f.where)}"
        for f in findings(snapshot, [variant], done.dictionary)
        if f.severity is not Severity.NOTE and f.key not in accepted
    ]
    plans = [Figure(title=m.title, svg=str(m.svg)) for m in drawings.maps(snapshot, variant, done)]
    if snapshot.job.segments:
        looms = {x.key: f"Loom plan: {x.name or x.key}" for x in snapshot.job.looms} if snapshot.job.matings else {}
        for key, title in reversed((looms or {"": "Loom plan"}).items()):
            plans.insert(0, Figure(title=title, svg=str(drawings.plan(snapshot, variant, done, loom=key))))
    return build_pdf(
        title_block(done, asked.release),
        rows,
        splices=splice_table(snapshot, done.routing),
        stagger=stagger_words(snapshot, done.routing),
        cuts=cut_list(rows),
        parts=parts_list(snapshot, variant, done.routing),
        labels=label_list(rows),
        ring_out=ring_out(snapshot, done.routing),
        faces=[Figure(title=f.title, svg=str(f.svg)) for f in _faces(done)],
        plans=plans,
        gaps=[f"{snapshot.signal[g.signal].name}: {g.reason}" for g in done.routing.gaps],
        open_findings=standing,
    )


def _faces(done: Analysis) -> tuple[drawings.Drawing, ...]:
    keys = drawings.face_keys(done.snapshot, done.variant)
    vehicle = tuple(drawings.face(done.snapshot, done.variant, done, key) for key in keys)
    return (*vehicle, *drawings.half_faces(done))


def _map(done: Analysis, asked: _Asked) -> bytes:
    if not asked.group:
        return drawings.signal_map(done.snapshot, done.variant, done).encode()
    for found in drawings.maps(done.snapshot, done.variant, done):
        if found.title == asked.group:
            return found.svg.encode()
    raise NotFound(f"there is no wiring map {asked.group!r}")


def _plan(done: Analysis, asked: _Asked) -> bytes:
    return drawings.plan(done.snapshot, done.variant, done, loom=asked.loom).encode()


def _board(done: Analysis, asked: _Asked) -> Board:
    return drawings.board_plan(done.snapshot, done.variant, done, asked.loom)


def _board_svg(done: Analysis, asked: _Asked) -> bytes:
    # imported where it is used: it loads for long, and the app can start without
    from pinmap.drawings.board import board_svg

    return board_svg(_board(done, asked)).encode()


def _dxf(done: Analysis, asked: _Asked) -> bytes:
    return write_dxf(_board(done, asked))


def _on_sheets(paper: str) -> Callable[[Analysis, _Asked], bytes]:
    def write(done: Analysis, asked: _Asked) -> bytes:
        board = _board(done, asked)
        return _board_pdf(done, board, asked, tiled(board, PAPERS[paper]))

    return write


def _on_a_roll(done: Analysis, asked: _Asked) -> bytes:
    board = _board(done, asked)
    return _board_pdf(done, board, asked, on_roll(board, asked.roll_mm))


def _board_pdf(done: Analysis, board: Board, asked: _Asked, tiling: Tiling) -> bytes:
    from pinmap.drawings.board import index_svg, tile_svgs

    return board_pdf(board, tiling, tile_svgs(board, tiling), index_svg(board), title_block(done, asked.release))


def _zipped(found: Sequence[drawings.Drawing]) -> bytes:
    """Drawings as a ZIP archive, the same bytes for the same drawings."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for number, drawing in enumerate(found, 1):
            entry = zipfile.ZipInfo(f"{number:02}_{safe_name(drawing.title)}.svg", (2000, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, drawing.svg.encode())
    return out.getvalue()


_STEMS = ("build-table", "pin-table", "cut-list", "splices", "parts-list", "labels", "ring-out")
_MAKERS: dict[str, Callable[[Analysis, _Asked], bytes]] = {
    **{f"{stem}.csv": _csv(stem) for stem in _STEMS},
    **{f"{stem}.xlsx": _xlsx(stem) for stem in _STEMS},
    "build-table.pdf": _pdf,
    "loom-plan.svg": _plan,
    "board-plan.svg": _board_svg,
    "board-plan.dxf": _dxf,
    **{f"board-plan-{paper}.pdf": _on_sheets(paper) for paper in PAPERS},
    "board-plan-roll.pdf": _on_a_roll,
    "wiring-map.svg": _map,
    "wiring-maps.zip": lambda done, _: _zipped(drawings.maps(done.snapshot, done.variant, done)),
    "connector-faces.zip": lambda done, _: _zipped(_faces(done)),
    "job.json": lambda done, _: job_json.dump(done.snapshot),
}
NAMES = tuple(_MAKERS)
