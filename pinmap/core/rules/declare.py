"""How a rule is declared: its card (number, severity, words, limit, source) and the function that looks."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from pinmap.core.model.words import Severity
from pinmap.core.rules.context import Context
from pinmap.core.rules.finding import Finding

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
    """What a rule saw at one place; the card supplies the rest of the finding."""

    where: tuple[str, ...]
    refs: tuple[str, ...]
    why: str
    way_out: str
    numbers: Numbers = ()
    severity: Severity | None = None  # the card's where None
    title: str = ""
    source: str = ""


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
            )
            out.setdefault(found.key, found)
        return list(out.values())


def rule(
    id: str, severity: Severity, title: str, *, explanation: str, limit: str, source: str
) -> Callable[[Callable[[Context], Iterable[Hit]]], Rule]:
    """Decorator: the function becomes the rule of this number."""
    info = RuleInfo(id=id, severity=severity, title=title, explanation=explanation, limit=limit, source=source)

    def declare(look: Callable[[Context], Iterable[Hit]]) -> Rule:
        return Rule(info, look)

    return declare
