"""What was written down at the bench of one line of a loom: entries that are only ever added."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

Content = tuple[tuple[str, str | float], ...]  # (field, value); fields with a unit end in it


class Stage(StrEnum):
    """The lists of the bench, in the order in which a loom is made."""

    CUT = "cut"
    ENDS = "ends"
    CONTINUITY = "continuity"
    ISOLATION = "isolation"

    @property
    def measured(self) -> bool:
        """Whether a line of it is a test with a reading [ohm]."""
        return self in (Stage.CONTINUITY, Stage.ISOLATION)


class Verdict(StrEnum):
    """What is written down of a line."""

    DONE = "done"
    PASSED = "passed"
    FAILED = "failed"
    TAKEN_BACK = "taken back"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What somebody wrote down of a line, with what the line was then. value_ohm is the reading [ohm]."""

    id: int
    stage: Stage
    line: str
    name: str
    content: Content
    digest: str
    verdict: Verdict
    value_ohm: float | None
    note: str
    who: str
    at: datetime


def digest(content: Content) -> str:
    """SHA-256 of what a line is about, the same on every machine."""
    plain = [[name, value if isinstance(value, str) else float(value)] for name, value in content]
    text = json.dumps(plain, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
