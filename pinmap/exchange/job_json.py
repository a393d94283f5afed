"""A job as one JSON file: the snapshot as it is nested, versioned, in and out without loss.

``{"format": "pinmap-job", "version": 1, "job": {...}, "platforms": [...], "housings": [...]}``; fields at their
default are left out. Unknown fields are refused, so that a misspelt one is not silently lost.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from pinmap.core.errors import FileProblem, FileRejected, InputError
from pinmap.core.model.jobs import Job, Pick, Snapshot, as_plain
from pinmap.core.model.looms import DeviceEnd
from pinmap.core.model.pinouts import ConnectorKey, Housing, PinKey, Platform
from pinmap.exchange.job_references import reference_problems

FORMAT = "pinmap-job"
VERSION = 1
MAX_BYTES = 50_000_000
_MOST_PROBLEMS = 50


class JobFile(BaseModel):
    """The file's outermost object."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, title="Pinmap job file")

    format: Literal["pinmap-job"]
    version: Literal[1]
    job: Job
    platforms: tuple[Platform, ...] = ()
    housings: tuple[Housing, ...] = ()


@cache
def _adapter() -> TypeAdapter[JobFile]:
    return TypeAdapter(JobFile)


@cache
def _job_adapter() -> TypeAdapter[Job]:
    return TypeAdapter(Job)


def schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the file."""
    found = _adapter().json_schema()
    for named in (PinKey, ConnectorKey, DeviceEnd, Pick):
        # pydantic describes a named tuple as an array; in the file it is an object of texts.
        found["$defs"][named.__name__] = {
            "type": "object",
            "title": named.__name__,
            "properties": {name: {"type": "string"} for name in named._fields},
            "required": [name for name in named._fields if name not in named._field_defaults],
            "additionalProperties": False,
        }
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **found}


def dump(snapshot: Snapshot) -> bytes:
    """The file of a snapshot, the same bytes for the same snapshot. Raises InputError for text that no file can
    hold."""
    plain = {
        "format": FORMAT,
        "version": VERSION,
        "job": as_plain(snapshot.job),
        "platforms": as_plain(snapshot.platforms),
        "housings": as_plain(snapshot.housings),
    }
    try:
        text = json.dumps(plain, ensure_ascii=False, indent=1, allow_nan=False)
        return (text + "\n").encode("utf-8")
    except ValueError as error:  # NaN, or half a surrogate pair
        raise InputError("job", snapshot.job.key, f"it holds something that JSON cannot ({error})") from error


def dump_parts(job: Job, names: Iterable[str]) -> str:
    """Some fields of a job, in the words of the job file."""
    return json.dumps({n: as_plain(getattr(job, n)) for n in names}, ensure_ascii=False, allow_nan=False)


def with_parts(job: Job, text: str) -> Job:
    """The job with the fields that ``dump_parts`` wrote, all others as they are."""
    plain = json.loads(text)
    read = _job_adapter().validate_json(json.dumps({"key": job.key, "name": job.name} | plain, ensure_ascii=False))
    return replace(job, **{name: getattr(read, name) for name in plain})


def load(data: bytes) -> Snapshot:
    """The snapshot of a file. Raises FileRejected with every problem and its path in the file."""
    if len(data) > MAX_BYTES:
        raise FileRejected(f"the file has {len(data) / 1e6:.0f} MB; at most {MAX_BYTES / 1e6:g} MB are read")
    text = _text(data)
    _check_frame(text)
    try:
        found = _adapter().validate_json(text)
    except ValidationError as error:
        raise _rejected(_problems(error)) from error
    snapshot = Snapshot(found.job, found.platforms, found.housings)
    problems = reference_problems(snapshot)
    if problems:
        raise _rejected([FileProblem(0, path, value, reason) for path, value, reason in problems])
    return snapshot


def _text(data: bytes) -> str:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileRejected("a job file is UTF-8; this file is not") from error
    if not text.strip():
        raise FileRejected("the file is empty")
    return text


def _check_frame(text: str) -> None:
    """What kind of file it is and of which version, before its fields are looked at."""
    try:
        raw = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except json.JSONDecodeError as error:
        reason = f"this is not JSON: {error.msg} in line {error.lineno}, column {error.colno}"
        raise FileRejected(reason, (FileProblem(error.lineno, str(error.colno), "", error.msg),)) from error
    except ValueError as error:  # a whole number of thousands of digits
        raise FileRejected("the file holds a number that is far longer than any job needs") from error
    except RecursionError as error:
        raise FileRejected("the file nests far deeper than any job does") from error
    if not isinstance(raw, dict) or raw.get("format") != FORMAT:
        raise FileRejected(f'this is not a Pinmap job file: it does not begin with "format": "{FORMAT}"')
    version = raw.get("version")
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise FileRejected(f"the job file's version is {version!r}; it should be a number from 1 on")
    if version > VERSION:
        raise FileRejected(f"the job file has version {version}; this Pinmap reads up to {VERSION}. Update Pinmap.")
    try:
        json.dumps(raw, ensure_ascii=False).encode("utf-8")
    except UnicodeEncodeError as error:
        raise FileRejected("the file holds half a surrogate pair (\\ud800 to \\udfff), no character") from error


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        double = next(name for name in names if names.count(name) > 1)
        raise FileRejected(f"the field {double[:80]!r} stands twice in one object; keep one of them")
    return found


def _no_constant(name: str) -> None:
    raise FileRejected(f"the file holds {name}, which is not a number; leave the field out if it is not known")


def _problems(error: ValidationError) -> list[FileProblem]:
    """Problems by path. An end is a pin or a device's terminal; where it is neither, only the nearer one's problems."""
    plain: list[FileProblem] = []
    branches: dict[str, dict[str, list[FileProblem]]] = {}
    for detail in error.errors(include_url=False, include_context=False):
        path, stem, branch = "", "", ""
        for part in detail["loc"]:
            if isinstance(part, int):
                path += f"[{part}]"
            elif part in ("PinKey", "DeviceEnd") or part.startswith("call["):
                stem, branch = path, part
            else:
                path += f".{part}" if path else part
        problem = FileProblem(0, path, _shown(detail["input"]), _reason(detail))
        if branch:
            branches.setdefault(stem, {}).setdefault(branch, []).append(problem)
        else:
            plain.append(problem)
    for by_branch in branches.values():
        plain += sorted(by_branch.values(), key=len)[0]
    return plain


def _reason(detail: ErrorDetails) -> str:
    known = {
        "extra_forbidden": "there is no such field",
        "unexpected_keyword_argument": "there is no such field",
        "missing": "this field is needed",
        "missing_argument": "this field is needed",
    }
    return known.get(detail["type"]) or detail["msg"].replace("Input should be", "it should be")


def _shown(value: object) -> str:
    return "" if isinstance(value, dict | list) else str(value)[:80]


def _rejected(problems: list[FileProblem]) -> FileRejected:
    first = problems[0]
    more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
    at = f"{first.column}: " if first.column else ""
    return FileRejected(f"the job file cannot be taken: {at}{first.reason}{more}", tuple(problems[:_MOST_PROBLEMS]))
