"""Says why a load is not fed: which side is missing, and where the path ends."""

from __future__ import annotations

from collections import deque
from functools import cached_property

from pinmap.core.electrics.loads import Load
from pinmap.core.electrics.network import Network, Solution
from pinmap.core.electrics.results import UnfedLoad
from pinmap.core.loom.nets import end_point
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import LoadCase, Snapshot, Variant
from pinmap.core.model.looms import Device
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import DeviceKind


class Explainer:
    """Explains starved loads of one variant; the network's neighbours are collected once, on first use."""

    def __init__(self, snapshot: Snapshot, variant: Variant, routing: Routing, network: Network) -> None:
        self.snapshot, self.routing, self.network = snapshot, routing, network
        self.variant = variant
        self._inside: dict[str, dict[int, list[int]]] = {}
        self._around: list[list[tuple[int, int]]] | None = None

    @cached_property
    def pin_of(self) -> dict[str, PinKey]:
        return {end_point(k): k for k in self.snapshot.active_pins(self.variant)}

    @cached_property
    def devices(self) -> dict[str, Device]:
        return self.snapshot.active_devices(self.variant)

    def explain(self, load: Load, case: LoadCase, solution: Solution) -> UnfedLoad:
        network = self.network
        feed, back = network.feed_of.get(load.key), network.back_of.get(load.key)
        texts = []
        if feed is None:
            texts.append("no feed: the pinout gives this component no supply or high-side pin")
        elif not solution.has_plus[feed]:
            texts.append(
                f"no feed: no live supply reaches {self.label(feed)}; {self._end(feed, case, solution, 'plus')}"
            )
        if back is None:
            texts.append("no return: the component has no return pin, and its platform no ground pin")
        elif not solution.has_minus[back]:
            texts.append(
                f"no return: nothing joins {self.label(back)} to battery minus; "
                f"{self._end(back, case, solution, 'minus')}"
            )
        return UnfedLoad(load=load.key, case=case.key, why="; ".join(texts))

    def label(self, point: int) -> str:
        """A point in the builder's words."""
        kind, _, rest = self.network.points[point].partition(":")
        if kind in {"pin", "loom"}:
            platform, connector, cavity = [*rest.split(":", 2), "", ""][:3]
            return f"{connector}-{cavity} of {platform}"
        return rest.replace(":", ".") if kind == "device" else rest

    def _neighbours(self) -> list[list[tuple[int, int]]]:
        if self._around is None:
            around: list[list[tuple[int, int]]] = [[] for _ in self.network.points]
            for i, (a, b) in enumerate(zip(self.network.a.tolist(), self.network.b.tolist(), strict=True)):
                around[a].append((b, i))
                around[b].append((a, i))
            self._around = around
        return self._around

    def _end(self, start: int, case: LoadCase, solution: Solution, side: str) -> str:
        """Where the path from a point ends, nearest cause first."""
        around = self._neighbours()
        blocking = set(solution.blocking_diodes.tolist())
        coils = set(self.network.coils.tolist())
        inside = self._inside.get(case.key)
        if inside is None:
            inside = self._inside[case.key] = {}
            for i, n in enumerate(solution.node.tolist()):
                inside.setdefault(n, []).append(i)
        seen = {start: 0}
        todo = deque([start])
        stops: list[int] = []
        while todo:
            here = todo.popleft()
            for other in inside[int(solution.node[here])]:
                if other not in seen:
                    seen[other] = seen[here]
                    todo.append(other)
            for other, element in around[here]:
                if element in coils:
                    continue
                if not solution.active[element]:
                    stops.append(element)
                elif other not in seen:
                    seen[other] = seen[here] + 1
                    todo.append(other)
        names = {self.network.points[i] for i in seen}
        gap = next((g for g in self.routing.gaps if g.a in names or g.b in names), None)
        if gap is not None:
            return f"the path ends at a wire that could not be routed: {gap.reason}"
        if side == "plus":
            asleep = [p for p, _ in self.network.plus if p in seen]
            if asleep:
                return f"{self.label(asleep[0])} is dead in this case"
        open_contacts = [self.network.names[e] for e in stops if e not in blocking]
        relays = dict.fromkeys(name.rsplit(" ", 1)[-1] for name in open_contacts)
        waiting = [r for r in relays if r in solution.open_relays]
        weak = dict(solution.weak)
        for relay in waiting:
            if relay in weak:
                return f"the path ends at relay {relay}, whose coil has only {weak[relay]:.3g} V and does not hold"
        if waiting:
            return f"the path ends at relay {waiting[0]}, whose coil is not driven"
        if relays:
            return f"the path ends at relay {next(iter(relays))}, whose break contact is open while it is driven"
        blocked = [e for e in stops if e in blocking]
        if blocked:
            return f"the path ends at {self.network.names[blocked[0]]}, which blocks this direction"
        for name in names:
            if name.startswith("device:"):
                key = name.split(":")[1]
                device = self.devices.get(key)
                if device is not None and device.kind is DeviceKind.CONVERTER:
                    return f"the path ends at converter {key}, which passes a signal and not the current"
                if device is not None and device.kind is DeviceKind.RESISTOR and device.resistance_ohm is None:
                    return f"the path ends at resistor {key}, whose value is not known"
        alone = self.pin_of.get(self.network.points[start])
        if len(seen) == 1 and alone is not None:
            joined = alone in self.snapshot.signal_of
            return "no wire ends there" if joined else "that pin is joined to no signal"
        farthest = max(seen, key=lambda i: (seen[i], -i))
        return f"the path ends at {self.label(farthest)}"
