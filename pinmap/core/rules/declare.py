"""How a rule is declared: its card (number, severity, words, limit, source) and the function that looks."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from pinmap.core.model.words import Severity
from pinmap.core.rules.context import Context
from pinmap.core.rules.finding import Finding, Working

Numbers = tuple[tuple[str, float, float | None, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleInfo:
    """A rule's card. ``severity`` is the gravest it speaks with; a single finding may be milder and then says why."""

    id: str
    severity: Severity
    title: str
    explanation: str
    limit: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """What a rule saw at one place; the card supplies the rest of the finding. ``workings`` are those of numbers that
    are more than read off or counted in the job."""

    where: tuple[str, ...]
    refs: tuple[str, ...]
    why: str
    way_out: str
    numbers: Numbers = ()
    severity: Severity | None = None  # the card's where None
    title: str = ""
    source: str = ""
    workings: tuple[Working, ...] = ()


@dataclass(frozen=True, slots=True)
class Rule:
    """A card and the pure function behind it."""

    info: RuleInfo
    look: Callable[[Context], Iterable[Hit]]

    def findings(self, context: Context) -> list[Finding]:
        """What this rule says of one variant; the same cause at the same place is said once."""
        out: dict[str, Finding] = {}
        for hit in self.look(context):
            found = Finding(
                rule=self.info.id,
                severity=hit.severity or self.info.severity,
                title=hit.title or self.info.title,
                where=hit.where,
                refs=hit.refs,
                numbers=hit.numbers,
                why=hit.why,
                source=hit.source or self.info.source,
                way_out=hit.way_out,
                variant=context.variant.key,
                workings=self._workings(hit),
            )
            out.setdefault(found.key, found)
        return list(out.values())

    def _workings(self, hit: Hit) -> tuple[Working, ...]:
        """One a number; what the rule does not work out is read off or counted in the job."""
        given = {w.what: w for w in hit.workings}
        at = ("where", "; ".join(hit.where))
        source = hit.source or self.info.source
        return tuple(
            given.get(what) or Working(what=what, formula="as it stands in the job, read off or counted",
                                       inputs=(at, ("limit", self.info.limit)), source=source)
            for what, *_ in hit.numbers
        )  # fmt: skip


def rule(
    id: str, severity: Severity, title: str, *, explanation: str, limit: str, source: str
) -> Callable[[Callable[[Context], Iterable[Hit]]], Rule]:
    """Decorator: the function becomes the rule of this number."""
    info = RuleInfo(id=id, severity=severity, title=title, explanation=explanation, limit=limit, source=source)

    def declare(look: Callable[[Context], Iterable[Hit]]) -> Rule:
        return Rule(info, look)

    return declare
