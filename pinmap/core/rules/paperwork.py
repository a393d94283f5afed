"""Rules about what is written down: fates, evidence, editions, numbering, names."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterator, Mapping

from pinmap.core.crossing.ledger import LedgerRow
from pinmap.core.facts.kinds import plain
from pinmap.core.facts.pin_columns import OTHER_FUNCTION, SOURCE_EDITION, VIEW, column
from pinmap.core.model.pinouts import ConnectorKey, Edition, Pin, PinKey
from pinmap.core.model.words import Evidence, Fate, Severity, natural_key
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule
from pinmap.core.rules.mirror import reversal
from pinmap.core.rules.net_parts import pin_ref

_WORKSHOP = "common practice, workshop reports"
_YEARS = re.compile(r"\b((?:19|20)\d\d)\s*(?:-|–|to)\s*((?:19|20)\d\d)\b")
_MODEL_YEAR = re.compile(r"\b(?:MY|model year)\s*((?:19|20)\d\d)\b", re.IGNORECASE)
_TWO_SOURCES = re.compile(r";| and | \+ |&")


def _connector_words(context: Context, where: ConnectorKey) -> str:
    return f"{where.connector} ({context.platform_name(where.platform)})"


def _cavities(keys: list[PinKey]) -> str:
    names = sorted({key.cavity for key in keys}, key=natural_key)
    return ("cavity " if len(names) == 1 else "cavities ") + ", ".join(names)


def _by_connector(keys: list[PinKey]) -> dict[ConnectorKey, list[PinKey]]:
    out: dict[ConnectorKey, list[PinKey]] = defaultdict(list)
    for key in keys:
        out[ConnectorKey(key.platform, key.connector)].append(key)
    return out


@rule(
    "R62",
    Severity.FIX,
    "Pins without a fate",
    explanation="Every cavity of every side is joined, parked, capped, left in service or taken out, with a reason. "
    "What nobody decided is forgotten, and found at the car.",
    limit="no undecided and no deferred pin at release",
    source="common practice",
)
def undecided(context: Context) -> Iterator[Hit]:
    rows: dict[tuple[ConnectorKey, Fate], list[LedgerRow]] = defaultdict(list)
    for row in context.common.ledger.rows:
        if row.fate in {Fate.UNDECIDED, Fate.DEFERRED} and row.pin in context.pins:
            rows[ConnectorKey(row.pin.platform, row.pin.connector), row.fate].append(row)
    for (where, fate), found in rows.items():
        keys = [row.pin for row in found]
        deferred = fate is Fate.DEFERRED
        said = "; ".join(dict.fromkeys(row.reason for row in found if row.reason))
        yield Hit(
            where=(_connector_words(context, where), _cavities(keys)),
            refs=tuple(pin_ref(key) for key in keys),
            numbers=(("open pins", float(len(keys)), 0.0, ""),),
            why=f"put off, still open: {said}" if deferred else "nobody has said yet what becomes of these pins",
            way_out="join them, or park, cap, retain or delete them with a reason",
        )
    for key, noted in context.common.fate_of.items():
        if key not in context.pins or key in context.snapshot.signal_of:
            continue
        if noted.fate not in {Fate.UNDECIDED, Fate.DEFERRED, Fate.JOINED} and not noted.reason.strip():
            yield Hit(
                where=(context.pin_full(key),),
                refs=(pin_ref(key),),
                severity=Severity.NOTE,
                title="Fate without a reason",
                why=f"the pin is {noted.fate.value}, and nobody wrote why",
                way_out="write the reason; the next person needs it",
            )


@rule(
    "R83",
    Severity.FIX,
    "Weak or conflicting evidence",
    explanation="Manuals are wrong often enough: a pin that one page alone vouches for, or nobody but memory, is "
    "measured before a wire is cut for it.",
    limit="two agreeing sources or a measurement for each pin that is used",
    source="common practice",
)
def evidence(context: Context) -> Iterator[Hit]:
    assumed, single = [], []
    conflicts: list[tuple[PinKey, str]] = []
    mirrored = {key for found in _mirrored_by_source(context).values() for key in found[0]}
    for key in context.pins:
        pin = context.pins[key]
        if key in context.joined and pin.evidence is Evidence.ASSUMED:
            assumed.append(key)
        elif key in context.joined and pin.evidence is Evidence.MANUAL and not _TWO_SOURCES.search(pin.evidence_ref):
            single.append(key)
        other = column(pin, OTHER_FUNCTION)
        if other is not None and plain(other) != plain(pin.function) and key not in mirrored:
            conflicts.append((key, other))
    for where, keys in _by_connector(assumed).items():
        yield Hit(
            where=(_connector_words(context, where), _cavities(keys)),
            refs=tuple(pin_ref(key) for key in keys),
            numbers=(("pins only assumed", float(len(keys)), 0.0, ""),),
            why="the loom uses these pins, and their entries are assumed: no document, no measurement",
            way_out="measure them at the plug, loom unplugged, or name the document; or accept by name",
        )
    for where, keys in _by_connector(single).items():
        yield Hit(
            where=(_connector_words(context, where), _cavities(keys)),
            refs=tuple(pin_ref(key) for key in keys),
            numbers=(("pins on one document", float(len(keys)), 0.0, ""),),
            severity=Severity.NOTE,
            title="Pins that rest on one document",
            why="one document alone vouches for these pins",
            way_out="find a second document, or measure them before release",
        )
    for key, other in conflicts:
        yield Hit(
            where=(context.pin_full(key),),
            refs=(pin_ref(key),),
            title="Sources conflict",
            why=f"one source says {context.pins[key].function!r}, the other {other!r}",
            way_out="measure the pin, and keep the entry that the measurement proves",
        )


@rule(
    "R33",
    Severity.FIX,
    "Numbering mirrored, or the view is not known",
    explanation="A face seen from the wire side is the mirror image of the mating side. If two sources agree only when "
    "one is read backwards, one of them numbers from the other side.",
    limit="the straight reading matches at least as well as any mirrored one",
    source=_WORKSHOP,
)
def numbering(context: Context) -> Iterator[Hit]:
    for where, (keys, how, score, straight) in _mirrored(context).items():
        yield Hit(
            where=(_connector_words(context, where), _cavities(keys)),
            refs=tuple(pin_ref(key) for key in keys),
            numbers=(("match when mirrored", score, straight, ""),),
            why=f"two sources of this connector agree with {how}, and not as they stand",
            way_out="find a moulded number on the real plug, mark pin 1, and correct the source that counts from the "
            "other side",
        )
    views: dict[ConnectorKey, set[str]] = defaultdict(set)
    for key, pin in context.pins.items():
        view = column(pin, VIEW)
        if view is not None:
            views[ConnectorKey(key.platform, key.connector)].add(plain(view))
    for where, said in views.items():
        if len(said) > 1:
            yield Hit(
                where=(_connector_words(context, where),),
                refs=(f"connector:{where.platform}:{where.connector}",),
                title="Cavities numbered from two sides",
                why="entries of one connector are numbered from " + " and ".join(sorted(said)),
                way_out="bring all entries to one view before anything is wired",
            )
    for node in context.connector_nodes:
        if node.mates is None or node.mates in views or not context.wires_at_node.get(node.key):
            continue
        if context.face(node.mates) is None:
            yield Hit(
                where=(context.node_words(node), _connector_words(context, node.mates)),
                refs=(f"node:{node.key}",),
                severity=Severity.NOTE,
                title="View not known",
                why="no housing is named for either half, so whether the numbers count from the mating side or from "
                "the wire side could not be judged",
                way_out="name the housing, or mark pin 1 on the real plug and note the view",
            )


Mirrored = Mapping[ConnectorKey, tuple[list[PinKey], str, float, float]]


def _mirrored(context: Context) -> Mirrored:
    return {**_mirrored_by_edition(context), **_mirrored_by_source(context)}


def _mirrored_by_source(context: Context) -> Mirrored:
    """Connectors of which the second source's functions fit only when read backwards."""
    ours: dict[ConnectorKey, dict[str, str]] = defaultdict(dict)
    theirs: dict[ConnectorKey, dict[str, str]] = defaultdict(dict)
    keys: dict[ConnectorKey, list[PinKey]] = defaultdict(list)
    for key, pin in context.pins.items():
        other = column(pin, OTHER_FUNCTION)
        if other is not None:
            where = ConnectorKey(key.platform, key.connector)
            ours[where][key.cavity], theirs[where][key.cavity] = plain(pin.function), plain(other)
            keys[where].append(key)
    out = {}
    for where in ours:
        found = reversal(ours[where], theirs[where], context.face(where))
        if found is not None:
            out[where] = (keys[where], *found)
    return out


def _mirrored_by_edition(context: Context) -> Mirrored:
    """Connectors of the picked platforms of which two editions are each other's mirror image."""
    out = {}
    for _, pick in context.variant.picks:
        platform = context.snapshot.platform[pick.platform]
        if len(platform.editions) < 2 or not pick.edition:
            continue
        maps: dict[str, dict[ConnectorKey, dict[str, Pin]]] = {e.key: defaultdict(dict) for e in platform.editions}
        for pin in platform.pins:
            for edition in pin.editions or tuple(maps):
                if edition in maps:
                    maps[edition][ConnectorKey(platform.key, pin.connector)][pin.cavity] = pin
        for where, mine in maps.get(pick.edition, {}).items():
            for edition, by_connector in maps.items():
                other = by_connector.get(where)
                if edition == pick.edition or other is None or other == mine:
                    continue
                a, b = ({c: plain(p.function) for c, p in m.items()} for m in (mine, other))
                found = reversal(a, b, context.face(where))
                if found is not None:
                    how, score, straight = found
                    keys = [p.key(platform.key) for p in mine.values()]
                    out[where] = (keys, f"{how} (edition {edition})", score, straight)
    return out


@rule(
    "R84",
    Severity.FIX,
    "Source is of another edition",
    explanation="Pinouts change with year, market and gearbox. An entry taken from another edition's pages is as good "
    "as a guess.",
    limit="the source's edition is the picked one",
    source=_WORKSHOP,
)
def wrong_edition(context: Context) -> Iterator[Hit]:
    for seat, pick in context.picks:
        platform = context.snapshot.platform.get(pick.platform)
        if platform is None:
            yield Hit(
                where=(f"seat {seat}", pick.platform),
                refs=(f"seat:{seat}",),
                title="Picked platform is missing",
                why="the job picks a platform that it does not hold",
                way_out="add the platform to the job, or pick another",
            )
            continue
        editions = {e.key: e for e in platform.editions}
        if len(editions) > 1 and not pick.edition:
            yield Hit(
                where=(platform.name,),
                refs=(f"platform:{platform.key}",),
                title="No edition picked",
                why=f"{platform.name} has {len(editions)} editions, and the pins of all of them are taken together",
                way_out="pick the edition of the vehicle that is there",
            )
        elif pick.edition and pick.edition not in editions:
            yield Hit(
                where=(platform.name, pick.edition),
                refs=(f"platform:{platform.key}",),
                title="Picked edition does not exist",
                why=f"{platform.name} has no edition {pick.edition!r}",
                way_out="pick one of its editions, or enter this one",
            )
        lost = [
            pin.key(platform.key)
            for pin in platform.pins
            if pin.editions
            and not set(pin.editions) & set(editions)
            and pin.key(platform.key) in context.snapshot.signal_of
        ]
        if lost:
            yield Hit(
                where=(platform.name, *(context.pin_words(key) for key in lost)),
                refs=tuple(pin_ref(key) for key in lost),
                why="these pins belong to an edition that the platform does not have, so they are in no variant",
                way_out="correct the pins' edition, or enter the edition",
            )
    picked = {p.platform: p.edition for _, p in context.variant.picks}
    wrong: dict[tuple[ConnectorKey, str], list[PinKey]] = defaultdict(list)
    for key in context.pins:
        editions = {e.key: e for e in context.snapshot.platform[key.platform].editions}
        edition = editions.get(picked[key.platform])
        if edition is not None and key in context.joined:
            why = _other_edition(context.pins[key], edition, editions)
            if why:
                wrong[ConnectorKey(key.platform, key.connector), why].append(key)
    for (where, why), keys in wrong.items():
        yield Hit(
            where=(_connector_words(context, where), _cavities(keys)),
            refs=tuple(pin_ref(key) for key in keys),
            why=why,
            way_out="find the pages of the picked edition, or measure these pins on the vehicle",
        )


def _other_edition(pin: Pin, picked: Edition, editions: Mapping[str, Edition]) -> str:
    """Why a pin's source does not speak of the picked edition; "" where nothing says so."""
    stated = column(pin, SOURCE_EDITION)
    if stated is not None:
        names = {plain(picked.key), plain(picked.name)}
        others = {plain(n) for e in editions.values() if e.key != picked.key for n in (e.key, e.name)}
        if plain(stated) in others - names:
            return f"the source is of edition {stated}, picked is {picked.name}"
    if pin.evidence is Evidence.MEASURED or (picked.from_year is None and picked.to_year is None):
        return ""
    first, last = picked.from_year or 0, picked.to_year or 9999
    spans = [(int(a), int(b)) for a, b in _YEARS.findall(pin.evidence_ref)]
    spans += [(int(y), int(y)) for y in _MODEL_YEAR.findall(pin.evidence_ref)]
    if spans and all(b < first or a > last for a, b in spans):
        covers = ", ".join(f"{a} to {b}" if a != b else str(a) for a, b in spans)
        return f"the source covers {covers}, picked is {picked.name}"
    return ""


@rule(
    "R85",
    Severity.NOTE,
    "Names that look alike",
    explanation="Names that differ only in capitals, in O and 0, in l and 1, or in signs nobody sees are read as one "
    "at the bench.",
    limit="no two names with the same looks",
    source="common practice",
)
def look_alikes(context: Context) -> Iterator[Hit]:
    job = context.snapshot.job
    groups = (
        ("signal", [(s.key, s.name) for s in job.signals if s.name]),
        ("node", [(n.key, n.name or n.key) for n in context.connector_nodes]),
        ("device", [(d.key, d.name or d.key) for d in context.devices.values()]),
    )
    for what, names in groups:
        by_looks: dict[str, dict[str, str]] = defaultdict(dict)
        for key, name in names:
            by_looks[_looks(name)].setdefault(name, key)
        for found in by_looks.values():
            if len(found) > 1:
                yield Hit(
                    where=tuple(f"{what} {name}" for name in found),
                    refs=tuple(f"{what}:{key}" for key in found.values()),
                    why="these names differ, but hardly to the eye",
                    way_out="rename one of them",
                )


def _looks(name: str) -> str:
    text = "".join(c for c in unicodedata.normalize("NFKC", name) if unicodedata.category(c) != "Cf")
    return text.upper().translate(str.maketrans("OIL", "011")).replace(" ", "").replace("_", "-")
