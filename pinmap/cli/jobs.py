"""``pinmap jobs``, ``check``, ``size``, ``build``, ``schema``, ``job export`` and ``job import``."""

from __future__ import annotations

import json as json_lib
import math
import os
import signal as signal_module
import sys
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from pinmap.core.electrics.size_watch import Progress
from pinmap.core.facts.functions import Dictionary, dictionary
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.words import Severity
from pinmap.exchange import job_json
from pinmap.services import analysis, jobs, outputs, sizing
from pinmap.services.shop import open_shop
from pinmap.settings import Settings

job_app = typer.Typer(no_args_is_help=True)

JobArg = Annotated[str, typer.Argument(help="Key of a job in the database, or the path of a JSON job file.")]
JsonOpt = Annotated[bool, typer.Option("--json", help="Answer as JSON.")]
VariantOpt = Annotated[
    str, typer.Option(help="Key of one variant; without it the first, or all where that makes sense.")
]


def _load(job: str) -> tuple[Snapshot, Dictionary]:
    """From a file when the text is one, else from the database."""
    path = Path(job)
    if path.suffix.lower() == ".json" and path.is_file():
        return job_json.load(path.read_bytes()), dictionary()
    view = jobs.get(open_shop(Settings()), job)
    return view.snapshot, view.dictionary


def list_all(json: JsonOpt = False) -> None:
    """List the jobs in the database."""
    rows = jobs.list_jobs(open_shop(Settings()))
    if json:
        print(json_lib.dumps([asdict(r) for r in rows], default=str, indent=1))
        return
    for r in rows:
        print(f"{r.key:<28} {r.undecided:>5} undecided of {r.pins:<6} {r.signals:>5} signals   {r.name}")


def check(
    job: JobArg,
    variant: VariantOpt = "",
    json: JsonOpt = False,
) -> None:
    """Apply all rules; exit status 0 when clean, 1 when a stop or fix stands, 2 when it could not be done."""
    snapshot, words = _load(job)
    chosen = [snapshot.variant(variant)] if variant else snapshot.variants
    found = analysis.findings(snapshot, chosen, words)
    accepted = {a.finding for a in snapshot.job.acceptances}
    if json:
        plain = [asdict(f) | {"key": f.key, "accepted": f.key in accepted} for f in found]
        print(json_lib.dumps({"hash": snapshot.content_hash, "findings": plain}, ensure_ascii=False, indent=1))
    else:
        for f in found:
            mark = " (accepted)" if f.key in accepted else ""
            print(f"{f.severity:<5}{f.rule} {f.title}: {', '.join(f.where)}{mark}\n      {f.why}\n      {f.way_out}")
        print(f"{len(found)} findings in {len(chosen)} variants")
    standing = [f for f in found if f.severity != Severity.NOTE and f.key not in accepted]
    raise typer.Exit(1 if standing else 0)


def size(
    job: JobArg,
    signal: Annotated[str, typer.Option(help="Key of one signal; without it the whole job.")] = "",
    json: JsonOpt = False,
) -> None:
    """Find the sizes of least copper that meet every limit in every case and variant. On a terminal it says on standard
    error how far it is; Ctrl-C ends it with the best so far."""
    own_stdout()
    snapshot, words = _load(job)
    scope = sizing.wires_of(analysis.analyse(snapshot, snapshot.variants[0], words), signal)
    found = _watched(lambda tell: sizing.propose(snapshot, words, scope, tell))
    if json:
        print(json_lib.dumps(asdict(found), ensure_ascii=False, indent=1))
        return
    for line in found.lines:
        if line.changes:
            print(f"{', '.join(line.wires):<24} {line.now_mm2:g} -> {line.mm2:g} mm²  {line.limit}: {line.why}")
    for broken in found.broken:
        print(f"broken: {broken.what} ({broken.variant}): {broken.why}")
    print(f"copper {found.copper_before_kg:.4g} kg -> {found.copper_kg:.4g} kg, all variants; {_sureness(found)}")


def own_stdout() -> None:
    """Keeps standard output for the answer: what a library prints there by itself, as scipy's solver HiGHS does now and
    then, goes to standard error."""
    now = sys.__stdout__
    if now is None or sys.stdout is not now:
        return  # caught by whoever runs the command
    now.flush()
    sys.stdout = os.fdopen(os.dup(1), "w", encoding=now.encoding)
    os.dup2(2, 1)


def _sureness(found: sizing.Proposal) -> str:
    if found.proven:
        return "on these routes no choice has less"
    if math.isinf(found.above_pct):
        return "not proven to be the least"
    return f"on these routes at most {found.above_pct:.2g} % above the least possible"


def _watched(run: Callable[[Callable[[Progress], bool]], sizing.Proposal]) -> sizing.Proposal:
    """A search that tells on a terminal how far it is, and that the first Ctrl-C ends."""
    stopped: list[int] = []
    shows = sys.stderr.isatty()

    def tell(at: Progress) -> bool:
        if shows:
            parts = [f"{at.seconds:.0f} s", f"round {max(at.rounds, 1)}"]
            parts += [f"{at.best_kg:.4g} kg"] if at.best_kg else []
            parts += [f"not below {at.bound_kg:.4g} kg"] if at.bound_kg else []
            print(f"\r\x1b[K{', '.join(parts)}", end="", file=sys.stderr, flush=True)
        return not stopped

    before = signal_module.signal(signal_module.SIGINT, lambda number, _: stopped.append(number))
    try:
        return run(tell)
    finally:
        signal_module.signal(signal_module.SIGINT, before)
        if shows:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)


def build(
    job: JobArg,
    out: Annotated[Path, typer.Option(help="Folder for the files; made when missing.")],
    variant: VariantOpt = "",
    json: JsonOpt = False,
) -> None:
    """Write every build output of one variant into a folder; plans of each loom as well where there are several."""
    snapshot, words = _load(job)
    chosen = snapshot.variant(variant)
    out.mkdir(parents=True, exist_ok=True)
    written = []
    looms = [x.key for x in snapshot.job.looms] if len(snapshot.job.looms) > 1 else []
    for name, loom in [(n, x) for n in outputs.NAMES for x in ("", *(looms if outputs.is_plan(n) else ()))]:
        made = outputs.make(snapshot, chosen, name, words, loom=loom)
        (out / made.filename).write_bytes(made.data)
        written.append(made.filename)
    print(json_lib.dumps({"variant": chosen.key, "files": written}) if json else "\n".join(written))


def schema(json: JsonOpt = False) -> None:
    """Print the JSON Schema of the job file; on one line with --json."""
    print(json_lib.dumps(job_json.schema(), indent=None if json else 1))


@job_app.command("export")
def export(job: str, file: Path, json: JsonOpt = False) -> None:
    """Write a job of the database to a JSON job file."""
    snapshot, _ = _load(job)
    file.write_bytes(job_json.dump(snapshot))
    print(json_lib.dumps({"file": str(file), "hash": snapshot.content_hash}) if json else f"{job} written to {file}")


@job_app.command("import")
def import_(file: Path, json: JsonOpt = False) -> None:
    """Read a JSON job file, with its platforms, into the database."""
    view = jobs.import_json(open_shop(Settings()), file.read_bytes())
    key = view.snapshot.job.key
    print(json_lib.dumps({"job": key, "hash": view.snapshot.content_hash}) if json else f"job {key} is in")
