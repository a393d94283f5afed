"""What can go wrong, as a tree.

    PinmapError
      InputError       a value is bad: says which field, which value, and the remedy
      TableGap         a reference table has no row for this key
      StructureError   the job contradicts itself; names the parts involved
      NotFound         nothing by that name, or not for this person
      NotAllowed       this person's role does not include it
      TooOften         tried too often; says how long to wait
      Conflict         somebody else saved first
      FileRejected     a file could not be read; lists every problem, not the first
      DrawingFailed    the layout engine failed or ran out of time

A rule that a design breaks is a finding, not an exception; see ``core.rules``.
"""

from __future__ import annotations

from dataclasses import dataclass


class PinmapError(Exception):
    """Root of the tree; ``str()`` is a sentence for the user."""


class InputError(PinmapError):
    """A value typed or read is bad."""

    def __init__(self, field: str, value: object, remedy: str) -> None:
        self.field, self.value, self.remedy = field, value, remedy
        shown = repr(value) if len(repr(value)) <= 80 else repr(value)[:77] + "..."
        super().__init__(f"{field}: {shown} will not do; {remedy}")


class TableGap(PinmapError):
    """A reference table has no row for this key."""

    def __init__(self, table: str, key: object, nearest: str = "") -> None:
        self.table, self.key, self.nearest = table, key, nearest
        super().__init__(f"{table} has no row for {key!r}" + (f"; nearest: {nearest}" if nearest else ""))


class StructureError(PinmapError):
    """The job contradicts itself."""

    def __init__(self, message: str, parts: tuple[str, ...] = ()) -> None:
        self.parts = parts
        super().__init__(message)


class NotFound(PinmapError):
    """Nothing by that name, or nothing that this person may see."""


class NotAllowed(PinmapError):
    """The role of whoever asks does not include it."""


class TooOften(PinmapError):
    """Tried too often in a short time."""

    def __init__(self, wait_s: int) -> None:
        self.wait_s = wait_s
        super().__init__(f"that was tried too often; wait {wait_s} s and try again")


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing in which two states of something differ. ``where`` names the part, ``what`` the field in words ("" for
    the whole part), ``field`` its attribute; ``before`` and ``after`` are in words."""

    where: str
    what: str
    before: str
    after: str
    field: str = ""


class Conflict(PinmapError):
    """Somebody else saved this since it was read. ``changes`` says what the refused save would do to what is stored
    now, ``refusal`` why it cannot be done to it any more."""

    def __init__(
        self, what: str, expected: int, found: int, *, changes: tuple[Difference, ...] = (), refusal: str = ""
    ) -> None:
        self.what, self.expected, self.found = what, expected, found
        self.changes, self.refusal = changes, refusal
        super().__init__(f"{what} was changed by somebody else in the meantime; look at both versions and save again")


@dataclass(frozen=True, slots=True)
class FileProblem:
    """One thing wrong in a file; row and column are what the user's spreadsheet shows, 0 and "" for the whole file."""

    row: int
    column: str
    value: str
    reason: str


class FileRejected(PinmapError):
    """A file could not be taken; nothing of it was stored."""

    def __init__(self, message: str, problems: tuple[FileProblem, ...] = ()) -> None:
        self.problems = problems
        super().__init__(message)


class DrawingFailed(PinmapError):
    """The layout engine failed or ran out of time."""
