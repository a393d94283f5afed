"""Rules about looms that plug into each other and the cavities in which signals cross."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from pinmap.core.loom.cavities import Seat, kept_cavities, mating_cavities, proposed_cavities, variant_crossings
from pinmap.core.loom.ways import Ways
from pinmap.core.model.looms import Mating
from pinmap.core.model.words import Severity
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule

_CP = "common practice"


def _halves(context: Context, mating: Mating) -> tuple[str, ...]:
    return tuple(context.node_words(context.snapshot.node[node]) for node in (mating.a, mating.b))


def _refs(mating: Mating) -> tuple[str, ...]:
    return (f"node:{mating.a}", f"node:{mating.b}")


@rule(
    "R86",
    Severity.STOP,
    "Signal that cannot cross between looms",
    explanation="Every signal that runs through two looms needs a cavity of its own in the connectors between them. "
    "Without one its wires end in nothing; two signals in one cavity are a short.",
    limit="one cavity for each signal that crosses in a variant",
    source=_CP,
)
def crossing_cavities(context: Context) -> Iterator[Hit]:
    job = context.snapshot.job
    if not job.matings:
        return
    crossings = variant_crossings(context.snapshot, context.variant)
    cavity = kept_cavities(job) | proposed_cavities(context.snapshot, {context.variant.key: crossings})
    there: dict[tuple[str, str], list[Seat]] = defaultdict(list)
    for crossing in crossings:
        for mating in crossing.matings:
            seat = Seat(mating.key, crossing.net.signal, crossing.net.section)
            there[mating.key, cavity.get(seat, "")].append(seat)
    for mating in job.matings:
        for (key, name), seats in there.items():
            if key != mating.key or (name and len(seats) == 1):
                continue
            signals = tuple(dict.fromkeys(seat.signal for seat in seats))
            yield Hit(
                where=(*_halves(context, mating), *(context.signal_words(s) for s in signals)),
                refs=(*_refs(mating), *(f"signal:{s}" for s in signals)),
                numbers=(("signals", float(len(seats)), 1.0 if name else 0.0, ""),),
                why=f"cavity {name} is kept for each of them" if name else "no cavity is left for them",
                way_out="keep another cavity for all but one"
                if name
                else "choose a connector with more cavities, add a second pair, or join what may be joined before it",
            )


@rule(
    "R87",
    Severity.FIX,
    "Loom that no connectors join to the others",
    explanation="A signal runs from loom to loom only where connectors of both plug into each other.",
    limit="a pair of in-line connectors for each loom that a signal enters",
    source=_CP,
)
def lone_loom(context: Context) -> Iterator[Hit]:
    job = context.snapshot.job
    if len(job.looms) < 2:
        return
    group = {loom.key: loom.key for loom in job.looms}
    loom_of = {node.key: node.loom for node in job.nodes}
    for mating in job.matings:
        one, two = group[loom_of[mating.a]], group[loom_of[mating.b]]
        group = {key: one if at == two else at for key, at in group.items()}
    if len(set(group.values())) == 1:
        return
    ways = Ways(context.snapshot, context.variant, context.pins)
    cut: dict[str, list[str]] = defaultdict(list)  # looms whose signals cannot get out
    for net in context.nets:
        spots = [spot for end in net.ends if isinstance(spot := ways.spot(end), int)]
        entered = dict.fromkeys(ways.open.nodes[spot].loom for spot in spots)
        if len({group[key] for key in entered}) > 1:
            for key in entered:
                cut[key].append(net.signal)
    first = group[job.looms[0].key]
    for loom in job.looms:
        if group[loom.key] == first or not any(node.loom == loom.key for node in job.nodes):
            continue
        signals = tuple(dict.fromkeys(cut[loom.key]))
        yield Hit(
            where=(loom.name, *(context.signal_words(s) for s in signals[:6])),
            refs=(f"loom:{loom.key}", *(f"signal:{s}" for s in signals)),
            numbers=(("signals cut off", float(len(signals)), 0.0, ""),),
            severity=None if signals else Severity.NOTE,
            why="no in-line connector of this loom leads to the first loom of the job",
            way_out="plug it into another loom, part a loom at a run, or put its runs into the other loom",
        )


@rule(
    "R88",
    Severity.FIX,
    "Cavity between looms that is kept wrongly",
    explanation="A cavity that is kept for a signal stays reserved. One that the connectors do not have, or whose "
    "signal does not cross there, is a slip or a rest of an earlier design.",
    limit="cavities that both halves have, kept for signals that cross there",
    source=_CP,
)
def kept_wrongly(context: Context) -> Iterator[Hit]:
    job = context.snapshot.job
    for mating in job.matings:
        named = mating_cavities(context.snapshot, mating)
        if named is None:
            yield Hit(
                where=_halves(context, mating),
                refs=_refs(mating),
                severity=Severity.NOTE,
                title="Connectors between looms not named",
                why="no housing is named for either half, so that its cavities are only counted",
                way_out="name the housings of both halves",
            )
            continue
        names = {c.name for c in named}
        for kept in mating.cavities:
            if kept.cavity not in names:
                yield Hit(
                    where=(*_halves(context, mating), context.signal_words(kept.signal)),
                    refs=(*_refs(mating), f"signal:{kept.signal}"),
                    why=f"cavity {kept.cavity} is kept, which the two halves do not both have",
                    way_out="keep another cavity for it",
                )
    if len(context.snapshot.variants) > 1 or not any(m.cavities for m in job.matings):
        return  # what does not cross in this variant may cross in another
    crossing = {
        Seat(m.key, c.net.signal, c.net.section)
        for c in variant_crossings(context.snapshot, context.variant)
        for m in c.matings
    }
    for mating in job.matings:
        for kept in mating.cavities:
            if Seat(mating.key, kept.signal, kept.section) not in crossing:
                yield Hit(
                    where=(*_halves(context, mating), context.signal_words(kept.signal)),
                    refs=(*_refs(mating), f"signal:{kept.signal}"),
                    severity=Severity.NOTE,
                    title="Cavity kept for a signal that does not cross",
                    why=f"cavity {kept.cavity} is kept, and the signal does not cross there",
                    way_out="leave the cavity to others",
                )
