"""Which sources reach a net through the devices of the loom, behind which fuse, and whether they live after key-off."""

from __future__ import annotations

import heapq
import math
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from pinmap.core.facts.pin_columns import says_fused, stated_fuse_a
from pinmap.core.model.pinouts import Pin
from pinmap.core.model.words import DeviceKind, Direction, Kind, Role
from pinmap.core.rules.net_parts import RUN_SOURCES, SUPPLIES, Link, NetPin, is_supply_out

if TYPE_CHECKING:
    from pinmap.core.rules.context import Context

PLUS_DRIVERS = frozenset({Kind.HIGH_SIDE, Kind.PWM_HIGH_SIDE, Kind.LOGIC_12V})
MINUS_GIVERS = frozenset({Kind.GROUND, Kind.LOW_SIDE, Kind.PWM_LOW_SIDE, Kind.SENSOR_GROUND, Kind.SWITCH_TO_GROUND})
BOTH_WAYS = frozenset({Kind.H_BRIDGE, Kind.INJECTOR_BOOSTED, Kind.COIL_PRIMARY, Kind.PULSE, Kind.UNKNOWN})
SHORT_CIRCUIT_V = 14.4  # charging voltage, common practice; what a resistor in line can pass is limited by it

_UNFUSED_BY_CUSTOM = re.compile(
    r"\bstarter\b|\bcranking motor\b|\balternator\b|\bgenerator\b|\bbattery (?:cable|post|positive|plus|stud)\b"
    r"|\bB\+|\bstrap\b",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Protection:
    """The weakest fuse between a net and the source that protects it least. ``amps`` is infinite where no fuse stands;
    ``source`` is the pin where that path starts."""

    amps: float
    fuse: str  # device key, "" where the platform's own fuse protects
    source: NetPin


class PowerPaths:
    """Sources and what they reach; pure look-ups over a context."""

    def __init__(self, context: Context) -> None:
        self.c = context

    def _spread(self, starts: Iterable[int], *, against: bool = False) -> frozenset[int]:
        """Nets reached through devices; diodes pass plus from anode to cathode (``against``: minus the other way)."""
        seen, todo = set(starts), list(starts)
        while todo:
            net = todo.pop()
            for link in self.c.links_at.get(net, ()):
                if (other := passes(link, net, against=against)) is not None and other not in seen:
                    seen.add(other)
                    todo.append(other)
        return frozenset(seen)

    def spread_from(
        self, gives: Callable[[Pin], bool], *, stop_at: frozenset[DeviceKind] = frozenset()
    ) -> dict[int, NetPin]:
        """Net -> the first pin that ``gives`` and reaches it through devices other than those of ``stop_at``."""
        seen: dict[int, NetPin] = {}
        for net, pins in enumerate(self.c.net_pins):
            source = next((p for p in pins if gives(p.pin)), None)
            if source is not None:
                seen[net] = source
        todo = list(seen)
        while todo:
            net = todo.pop()
            for link in self.c.links_at.get(net, ()):
                if link.device.kind in stop_at:
                    continue
                if (other := passes(link, net)) is not None and other not in seen:
                    seen[other] = seen[net]
                    todo.append(other)
        return seen

    @cached_property
    def _given(self) -> Mapping[Kind, frozenset[int]]:
        """Kind -> nets into which an output of that kind gives."""
        out: dict[Kind, set[int]] = defaultdict(set)
        for net, pins in enumerate(self.c.net_pins):
            for p in pins:
                if p.pin.direction in {Direction.OUT, Direction.BOTH}:
                    out[p.pin.kind].add(net)
        return {kind: frozenset(nets) for kind, nets in out.items()}

    def _nets_with(self, kinds: frozenset[Kind]) -> set[int]:
        return {net for kind in kinds for net in self._given.get(kind, ())}

    @cached_property
    def reached_by(self) -> Mapping[Kind, frozenset[int]]:
        """Supply kind -> nets that such a source reaches with every contact closed."""
        return {kind: self._spread(self._nets_with(frozenset({kind}))) for kind in SUPPLIES}

    def sources(self, net: int) -> frozenset[Kind]:
        """Kinds of the supplies that reach a net."""
        return frozenset(kind for kind, nets in self.reached_by.items() if net in nets)

    def has_supply_without(self, start: int, barred: int) -> bool:
        """A supply reaches ``start`` on a way that does not touch the net ``barred``."""
        seen, todo = {start, barred}, [start]
        while todo:
            net = todo.pop()
            if net in self._supply_nets:
                return True
            for link in self.c.links_at.get(net, ()):
                # Walked from the load towards the source, so a diode passes from its cathode to its anode.
                if (other := passes(link, net, against=True)) is not None and other not in seen:
                    seen.add(other)
                    todo.append(other)
        return False

    @cached_property
    def _supply_nets(self) -> frozenset[int]:
        return frozenset(self._nets_with(SUPPLIES))

    @cached_property
    def plus(self) -> frozenset[int]:
        """Nets that battery plus can reach, from a supply or an output that switches plus."""
        return self._spread(self._nets_with(SUPPLIES | PLUS_DRIVERS))

    @cached_property
    def minus(self) -> frozenset[int]:
        """Nets that battery minus can reach, from a ground or an output that switches minus."""
        return self._spread(self._nets_with(MINUS_GIVERS), against=True)

    @cached_property
    def undetermined(self) -> frozenset[int]:
        """Nets with an output that can be either, or of which nobody knows."""
        starts = self._nets_with(BOTH_WAYS)
        passive = {
            i
            for i, pins in enumerate(self.c.net_pins)
            if any(p.pin.kind is Kind.UNKNOWN and p.pin.direction is Direction.PASSIVE for p in pins)
        }
        starts |= self.c.converter_nets | passive
        return self._spread(starts) | self._spread(starts, against=True)

    def fed(self, net: int) -> bool:
        """Plus may reach this net, as far as anybody knows."""
        return net in self.plus or net in self.undetermined

    def returned(self, net: int) -> bool:
        """Minus may reach this net, as far as anybody knows."""
        return net in self.minus or net in self.undetermined

    @cached_property
    def protection(self) -> Mapping[int, Protection]:
        """Net -> its protection, for every net that a battery feed of the host or a permanent feed of any platform
        reaches. Widest path: of all ways to a net the one with the largest weakest fuse counts."""
        sources = [(net, p, amps) for net, p in self._feeds if (amps := source_amps(p)) is not None]
        best = self._widest([(n, p, a) for n, p, a in sources if not by_custom_unfused(self.c, p)], {})
        # An alternator's own fuse stands at the battery's end of its cable; only where no battery is in the job does
        # the alternator stand for it.
        return self._widest([(n, p, a) for n, p, a in sources if n not in best], best)

    @cached_property
    def _feeds(self) -> list[tuple[int, NetPin]]:
        """Battery feeds of the host, and permanent feeds of any platform, by net."""
        return [
            (net, p)
            for net, pins in enumerate(self.c.net_pins)
            for p in pins
            if is_supply_out(p.pin) and (p.pin.kind is Kind.SUPPLY_30 or self.c.role(p.key) is Role.HOST)
        ]

    def _widest(
        self, sources: list[tuple[int, NetPin, float]], settled: Mapping[int, Protection]
    ) -> dict[int, Protection]:
        best = dict(settled)
        queue: list[tuple[float, int, int]] = []
        found: list[Protection] = []

        def offer(net: int, protection: Protection) -> None:
            known = best.get(net)
            if known is None or (net not in settled and protection.amps > known.amps):
                best[net] = protection
                found.append(protection)
                heapq.heappush(queue, (-protection.amps, len(found) - 1, net))

        for net, p, amps in sources:
            offer(net, Protection(amps, "", p))
        while queue:
            _, index, net = heapq.heappop(queue)
            here = found[index]
            if best[net] is not here:
                continue
            for link in self.c.links_at.get(net, ()):
                other = passes(link, net)
                if other is not None:
                    offer(other, _behind(here, link))
        return best

    @cached_property
    def live_after_key_off(self) -> frozenset[int]:
        """Nets that a permanent feed, or a main relay's output, can still hold up when the key is off: contacts of
        relays whose coil is fed from the ignition only do not count."""
        held: set[str] = set()  # relays that can stay closed
        while True:
            reached = self._held_spread(held)
            more = {relay for relay, ends in self.c.relay_ends.items() if self._coil_lives(ends, reached)}
            if more <= held:
                return frozenset(reached)
            held |= more

    def _held_spread(self, held: set[str]) -> set[int]:
        starts = self._nets_with(frozenset({Kind.SUPPLY_30, Kind.SUPPLY_87}))
        seen, todo = set(starts), list(starts)
        while todo:
            net = todo.pop()
            for link in self.c.links_at.get(net, ()):
                if link.device.kind is DeviceKind.RELAY and link.device.key not in held:
                    continue
                if (other := passes(link, net)) is not None and other not in seen:
                    seen.add(other)
                    todo.append(other)
        return seen

    def _coil_lives(self, ends: tuple[int | None, int | None], reached: set[int]) -> bool:
        """A coil of which nothing is known counts as held, so that no finding rests on a gap."""
        known = [net for net in ends if net is not None]
        if any(net in reached for net in known):
            return True
        return not any(RUN_SOURCES & self.sources(net) for net in known)


def source_amps(p: NetPin) -> float | None:
    """What a feed's own platform lets through [A]: infinite without a fuse, None where it is fused and nobody says how
    much."""
    rating = stated_fuse_a(p.pin)
    if rating is not None:
        return rating
    return None if says_fused(p.pin) else math.inf


def by_custom_unfused(context: Context, p: NetPin) -> bool:
    """Starter and alternator cables and battery straps carry more than fuses are usually made for."""
    if p.pin.kind not in {Kind.SUPPLY_30, Kind.SUPPLY_50} or (
        context.role(p.key) is Role.HOST and is_supply_out(p.pin)
    ):
        return False
    entry = context.entry(p.pin)
    words = f"{p.pin.function}; {p.pin.component}; {entry.name if entry else ''}"
    return bool(_UNFUSED_BY_CUSTOM.search(words))


def passes(link: Link, net: int, *, against: bool = False) -> int | None:
    """The net on a device's far side, None where it blocks that way."""
    if link.device.kind is DeviceKind.DIODE and net != (link.b if against else link.a):
        return None
    return link.b if net == link.a else link.a


def _behind(here: Protection, link: Link) -> Protection:
    device, limit = link.device, math.inf
    if device.kind is DeviceKind.FUSE and device.rating_a is not None:
        limit = device.rating_a
    elif device.kind is DeviceKind.FUSE:
        limit = 0.0  # rating unknown: protected, but nothing can be said about how well
    elif device.kind is DeviceKind.RESISTOR and device.resistance_ohm:
        limit = SHORT_CIRCUIT_V / device.resistance_ohm
    if limit >= here.amps:
        return here
    return Protection(limit, device.key, here.source)
