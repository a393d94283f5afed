"""What a rule reports."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.model.words import Severity


@dataclass(frozen=True, slots=True, kw_only=True)
class Working:
    """How the number called ``what`` came about: its formula in words and signs, its inputs as (name, value with
    unit), and where formula and limit come from."""

    what: str
    formula: str
    inputs: tuple[tuple[str, str], ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A rule that the design breaks.

    ``where`` names the parts, most important first, in the builder's words ("wire 17A", "X12-4", "signal Crank
    sensor +"); ``refs`` are machine names of the same, such as "signal:s017", "wire:17A", "pin:brindle-6:C101:4",
    "node:x12", from which a page makes links. ``numbers`` are (what, value, limit, unit), and ``workings`` say how each
    came about.
    """

    rule: str  # "R14"
    severity: Severity
    title: str
    where: tuple[str, ...]
    refs: tuple[str, ...] = ()
    numbers: tuple[tuple[str, float, float | None, str], ...] = ()
    why: str = ""
    source: str = ""
    way_out: str = ""
    variant: str = ""
    workings: tuple[Working, ...] = ()

    def working(self, what: str) -> Working | None:
        """How one of its numbers came about; None in findings that were stored before this was kept."""
        return next((w for w in self.workings if w.what == what), None)

    @property
    def key(self) -> str:
        """The same finding has the same key after an unrelated change; acceptances hang on it."""
        return "|".join((self.rule, *(self.refs or self.where)))
