"""What a rule reports."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.model.words import Severity


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A rule that the design breaks.

    ``where`` names the parts, most important first, in the builder's words ("wire 17A", "X12-4", "signal Crank
    sensor +"); ``refs`` are machine names of the same, such as "signal:s017", "wire:17A", "pin:brindle-6:C101:4",
    "node:x12", from which a page makes links. ``numbers`` are (what, value, limit, unit).
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

    @property
    def key(self) -> str:
        """The same finding has the same key after an unrelated change; acceptances hang on it."""
        return "|".join((self.rule, *(self.refs or self.where)))
