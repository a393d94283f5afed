"""All rules, and how they are run over one variant or over a whole job."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from types import ModuleType

from pinmap.core.electrics.check import check
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Routing
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.words import Severity
from pinmap.core.rules import (
    bundles,
    buses,
    fuses,
    grounds,
    joints,
    matings,
    paperwork,
    protection,
    relays,
    runs,
    safety,
    signals,
    supply,
    terminals,
    wires,
)
from pinmap.core.rules.context import Common, Context
from pinmap.core.rules.declare import Rule, RuleInfo
from pinmap.core.rules.finding import Finding

_SUBJECTS: tuple[ModuleType, ...] = (
    supply,
    relays,
    signals,
    grounds,
    joints,
    fuses,
    protection,
    terminals,
    matings,
    bundles,
    wires,
    runs,
    buses,
    paperwork,
    safety,
)
_GRAVITY = {Severity.STOP: 0, Severity.FIX: 1, Severity.NOTE: 2}
RULES: tuple[Rule, ...] = tuple(
    sorted(
        (value for module in _SUBJECTS for value in vars(module).values() if isinstance(value, Rule)),
        key=lambda r: int(r.info.id[1:]),
    )
)


def rule_list() -> tuple[RuleInfo, ...]:
    """The card of every rule, by number."""
    return tuple(r.info for r in RULES)


def run(
    snapshot: Snapshot,
    variant: Variant,
    routing: Routing,
    report: ElectricalReport,
    dictionary: Dictionary,
) -> tuple[Finding, ...]:
    """What the rules say of one variant: stops first, then by rule number."""
    return _run(Context(snapshot, variant, routing, report, dictionary))


def run_all(
    snapshot: Snapshot,
    dictionary: Dictionary,
    results: Iterable[tuple[Variant, Routing, ElectricalReport]] | None = None,
) -> tuple[Finding, ...]:
    """What the rules say of all variants, the same finding once. ``variant`` names the variants that have it, in
    words and joined by "; ", or is "" where all have it. Without ``results`` each variant is routed and checked here.

    Where variants differ in how grave a finding is, or in its numbers, the gravest stands. Raises StructureError as
    ``route`` does.
    """
    common = Common(snapshot)
    labels: list[str] = []
    found: dict[str, list[tuple[str, Finding]]] = {}
    for variant, routing, report in _all_results(snapshot, dictionary) if results is None else results:
        label = snapshot.variant_label(variant)
        labels.append(label)
        for finding in _run(Context(snapshot, variant, routing, report, dictionary, common)):
            found.setdefault(finding.key, []).append((label, finding))
    merged = []
    for same in found.values():
        worst = min((f for _, f in same), key=lambda f: (_GRAVITY[f.severity], -_excess(f)))
        everywhere = len(same) == len(labels)
        merged.append(replace(worst, variant="" if everywhere else "; ".join(label for label, _ in same)))
    return _sorted(merged)


def _all_results(snapshot: Snapshot, dictionary: Dictionary) -> Iterable[tuple[Variant, Routing, ElectricalReport]]:
    for variant in snapshot.variants:
        routing = route(snapshot, variant, dictionary)
        yield variant, routing, check(snapshot, variant, routing, dictionary)


def _run(context: Context) -> tuple[Finding, ...]:
    return _sorted([finding for r in RULES for finding in r.findings(context)])


def _sorted(findings: list[Finding]) -> tuple[Finding, ...]:
    return tuple(sorted(findings, key=lambda f: (_GRAVITY[f.severity], int(f.rule[1:]), f.where)))


def _excess(finding: Finding) -> float:
    """How far the first number lies from its limit, as a share."""
    for _, value, limit, _ in finding.numbers:
        if limit:
            return abs(value - limit) / abs(limit)
        if limit is not None:
            return abs(value)
    return 0.0
