"""Rules about protection: that each fuse opens before anything behind it is hurt, and that it guards something."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from pinmap.core.electrics.protection import FuseReport
from pinmap.core.electrics.protection_limits import Limit
from pinmap.core.loom.results import device_point
from pinmap.core.model.looms import DeviceEnd
from pinmap.core.model.words import DeviceKind, Severity
from pinmap.core.rules import workings
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule
from pinmap.core.rules.fuses import largest_fuse_a


def _broken(context: Context, wanted: Callable[[str], bool]) -> Iterator[tuple[FuseReport, Limit]]:
    for feed in context.protection:
        for fuse in feed.fuses:
            for limit in fuse.limits:
                if limit.ok is False and wanted(limit.key):
                    yield fuse, limit


def _said_by_table(context: Context, fuse: FuseReport, limit: Limit) -> bool:
    """R09 stops this fuse on this wire already."""
    wire, opening = context.routing.wire.get(limit.wire), next((x for x in fuse.limits if x.key == "opening"), None)
    if wire is None or fuse.curve is None or opening is None:
        return False
    most = largest_fuse_a(wire.mm2)
    return (most is None or fuse.curve.rating_a > most[0]) and opening.value > opening.limit


def _refs(fuse: FuseReport, limit: Limit) -> tuple[str, ...]:
    own = f"device:{fuse.device}" if fuse.device else f"fuse:{fuse.label}"
    return (own, f"wire:{limit.wire}") if limit.wire else (own,)


def _said(title: str) -> str:
    """In the middle of a sentence."""
    return title[:1].lower() + title[1:]


def _hit(fuse: FuseReport, limit: Limit, way_out: str) -> Hit:
    return Hit(
        where=(fuse.label, f"wire {limit.wire}") if limit.wire else (fuse.label,),
        refs=_refs(fuse, limit),
        numbers=((_said(limit.title), limit.value, limit.limit, limit.unit),),
        why=limit.why,
        way_out=way_out,
        source=limit.source,
        workings=(workings.of_limit(limit, _said(limit.title)),),
    )


@rule(
    "R90",
    Severity.STOP,
    "Fuse opens too late for a wire behind it",
    explanation="Between the current that a fuse carries for ever and a dead short lies a range in which it may take "
    "minutes to open. The wire must stand each of these currents for as long as the fuse may take.",
    limit="class + 25 K at 110 %, class + 50 K at 135 %, and (k·S/I)² up to 5 s, at the fuse's latest opening time",
    source="ISO 8820-3 gates and ISO 6722-1 overload tests (from memory); IEC 60364-5-54",
)
def opens_too_late(context: Context) -> Iterator[Hit]:
    for fuse, limit in _broken(context, lambda key: key in {"held", "opening", "damage"}):
        if _said_by_table(context, fuse, limit):
            continue
        yield _hit(fuse, limit, "fit a smaller fuse if the load allows it, or a thicker wire")


@rule(
    "R91",
    Severity.STOP,
    "Short circuit at the far end does not open the fuse in time",
    explanation="A long thin wire limits the short-circuit current so far that the fuse takes its time, or never "
    "opens, while the wire smoulders.",
    limit="the fuse opens within 5 s at the end of its longest wire, weak battery, hot wires",
    source="IEC 60364-4-41; gates of ISO 8820-3 (from memory)",
)
def short_not_cleared(context: Context) -> Iterator[Hit]:
    for fuse, limit in _broken(context, lambda key: key == "short"):
        if _said_by_table(context, fuse, limit):
            continue
        yield _hit(fuse, limit, "use a thicker or shorter wire, or a smaller fuse nearer to the load")


@rule(
    "R96",
    Severity.STOP,
    "Fuse that cannot break the short circuit",
    explanation="Above its breaking capacity a fuse may burst or keep an arc: it opens nothing. Near a strong battery, "
    "with short thick wires, a short circuit draws more than a small fuse can break.",
    limit="prospective short-circuit current right behind the fuse, strong battery, at most its breaking capacity",
    source="ISO 8820-3 and 8820-5 (from memory)",
)
def cannot_break(context: Context) -> Iterator[Hit]:
    for fuse, limit in _broken(context, lambda key: key == "breaking"):
        yield _hit(
            fuse, limit, "use a type with a higher breaking capacity, or a battery fuse of such a type before it"
        )


@rule(
    "R92",
    Severity.FIX,
    "Fuse that protects nothing",
    explanation="A fuse with no load behind it misleads whoever looks for a fault, and its load may hang elsewhere "
    "without one.",
    limit="a load or a coil behind each fuse that a source feeds",
    source="common practice",
)
def guards_nothing(context: Context) -> Iterator[Hit]:
    fed = {fuse.device for feed in context.protection for fuse in feed.fuses}
    for fuse, limit in _broken(context, lambda key: key == "nothing"):
        yield _hit(fuse, limit, "join the load behind it, or take the fuse out")
    for device in context.devices.values():
        ends = [DeviceEnd(device.key, terminal) for terminal in ("1", "2")]
        bare = [str(e) for e in ends if not context.routing.wires_at.get(device_point(e))]
        if device.kind is DeviceKind.FUSE and device.key not in fed and len(bare) == 2:
            yield Hit(
                where=(context.device_words(device),),
                refs=(f"device:{device.key}",),
                numbers=(("terminals without a wire", float(len(bare)), 0.0, ""),),
                why=f"no wire ends at {' and '.join(bare)} in this variant, so it protects nothing",
                way_out="put it in line between source and load, limit it to the variants that need it, or take it out",
            )


@rule(
    "R93",
    Severity.NOTE,
    "Fuses in a row are not selective",
    explanation="Where the bands of two fuses in a row overlap at a fault's current, the one nearer to the battery may "
    "open instead, and takes loads along that have no fault.",
    limit="the nearer fuse's earliest time above the farther one's latest, up to the short-circuit current",
    source="gates of ISO 8820-3 (from memory)",
)
def not_selective(context: Context) -> Iterator[Hit]:
    for fuse, limit in _broken(context, lambda key: key == "selective"):
        yield _hit(fuse, limit, "nothing need change; 2.3 times the rating between fuses of one type is selective")


@rule(
    "R94",
    Severity.NOTE,
    "Inrush may open the fuse",
    explanation="Lamps, motors and capacitors draw several times their current for a moment. A fuse ages with each "
    "such blow and may open for nothing.",
    limit="the inrush is over before the fuse's earliest opening time",
    source="gates of ISO 8820-3 (from memory)",
)
def inrush(context: Context) -> Iterator[Hit]:
    for fuse, limit in _broken(context, lambda key: key.startswith("inrush")):
        yield _hit(fuse, limit, "measure the inrush; a larger fuse if its wires allow it, or a slower type")


@rule(
    "R95",
    Severity.FIX,
    "Load that cannot be met",
    explanation="A way can be closed and still be too weak: what the load wants to draw would pull its voltage down to "
    "nothing. (A load with no supply or no way back at all is named by R21.)",
    limit="a way that carries what the load draws, in each load case in which the load is on",
    source="the network's solution",
)
def unfed(context: Context) -> Iterator[Hit]:
    cases: dict[tuple[str, str], list[str]] = {}
    for found in context.report.unfed:
        if found.why.startswith(("no feed", "no return")):
            continue
        cases.setdefault((found.load, found.why), []).append(context.case_name(found.case))
    for (load, why), where in cases.items():
        yield Hit(
            where=(load, "cases " + "; ".join(where)),
            refs=(f"load:{load}",),
            numbers=(("load cases without it", float(len(where)), 0.0, ""),),
            why=why,
            way_out="use thicker or shorter wires on its way, feed it from another source, or correct what it draws",
        )


@rule(
    "R05",
    Severity.FIX,
    "What is typed for a load or a source cannot be counted",
    explanation="A load model with a column missing or a word in place of a number draws nothing in any check, so that "
    "its wires and fuse look good whatever it takes in truth.",
    limit="every load's and source's columns can be read",
    source="common practice",
)
def uncounted(context: Context) -> Iterator[Hit]:
    for key, why in context.report.problems:
        yield Hit(where=(key,), refs=(f"load:{key}",), why=why, way_out="correct it in the pinout of that platform")


@rule(
    "R06",
    Severity.FIX,
    "Load whose current nobody has said",
    explanation="Neither the pin, nor the unit's own sheet, nor the function says what it draws. It counts as nothing, "
    "and its wires and fuse are judged without it.",
    limit="a current for every load",
    source="common practice",
)
def current_unknown(context: Context) -> Iterator[Hit]:
    unread = {key for key, _ in context.report.problems}  # R05 names these
    for key in context.report.unknown:
        if key not in unread:
            yield Hit(
                where=(key,),
                refs=(f"load:{key}",),
                why="its current is not known, so that it is left out of every check",
                way_out="type its current in the pinout, or a load model; measured with a clamp is best",
            )
