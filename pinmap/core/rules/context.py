"""What every rule looks at, worked out once for one variant: nets, pins by net, components, names, neighbours."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from functools import cached_property

from pinmap.core.crossing.ledger import Ledger, ledger
from pinmap.core.electrics.protection import FeedReport, protection
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.facts.functions import Dictionary, FunctionEntry
from pinmap.core.loom.bundles import Bundles
from pinmap.core.loom.nets import nets
from pinmap.core.loom.results import Net, NetEnd, Routing, Wire, WireEnd
from pinmap.core.model.jobs import PinFate, Signal, Snapshot, Variant
from pinmap.core.model.looms import Device, DeviceEnd, End, Node
from pinmap.core.model.pinouts import Connector, ConnectorKey, Housing, Pin, PinKey
from pinmap.core.model.words import DeviceKind, Fate, Gender, NodeKind, Role
from pinmap.core.rules.meeting import claims
from pinmap.core.rules.net_parts import Link, NetPin
from pinmap.core.rules.power_paths import PowerPaths


class Common:
    """What is the same in every variant of a snapshot, so that it is worked out once a job and not once a variant."""

    def __init__(self, snapshot: Snapshot) -> None:
        self.snapshot = snapshot

    @cached_property
    def ledger(self) -> Ledger:
        return ledger(self.snapshot)

    @cached_property
    def fate_of(self) -> Mapping[PinKey, PinFate]:
        return {f.pin: f for f in self.snapshot.job.fates}

    @cached_property
    def signals_of(self) -> Mapping[End, tuple[Signal, ...]]:
        """Every signal that claims an end; more than one is a mistake."""
        out: dict[End, list[Signal]] = defaultdict(list)
        for signal in self.snapshot.job.signals:
            for end in dict.fromkeys(m.end for m in signal.members):
                out[end].append(signal)
        return {end: tuple(signals) for end, signals in out.items()}


class Context:
    """One variant of a job as the rules see it. Tolerates half-made jobs: what is missing is absent, never an error."""

    def __init__(
        self,
        snapshot: Snapshot,
        variant: Variant,
        routing: Routing,
        report: ElectricalReport,
        dictionary: Dictionary,
        common: Common | None = None,
    ) -> None:
        self.snapshot, self.routing, self.report, self.dictionary = snapshot, routing, report, dictionary
        self.common = common or Common(snapshot)
        self.picks = variant.picks
        self.variant = Variant(tuple((s, p) for s, p in variant.picks if p.platform in snapshot.platform))

    # --- pins -----------------------------------------------------------------------------------------------------

    @cached_property
    def pins(self) -> Mapping[PinKey, Pin]:
        return self.snapshot.active_pins(self.variant)

    @cached_property
    def devices(self) -> Mapping[str, Device]:
        return self.snapshot.active_devices(self.variant)

    @cached_property
    def protection(self) -> tuple[FeedReport, ...]:
        """What each fuse guards, and whether it opens in time."""
        return protection(self.snapshot, self.variant, self.routing, self.report, self.dictionary)

    @cached_property
    def bundles(self) -> Bundles:
        return Bundles.of(self.snapshot, self.routing)

    @cached_property
    def joined(self) -> frozenset[PinKey]:
        """Active pins that a signal has."""
        return frozenset(key for key in self.pins if key in self.snapshot.signal_of)

    @cached_property
    def components(self) -> Mapping[tuple[str, str], tuple[NetPin, ...]]:
        """(platform, component) -> its ends."""
        out: dict[tuple[str, str], list[NetPin]] = defaultdict(list)
        for key, pin in self.pins.items():
            if pin.component:
                out[key.platform, pin.component].append(NetPin(key, pin))
        return {name: tuple(ends) for name, ends in out.items()}

    def role(self, key: PinKey) -> Role:
        return self.snapshot.platform[key.platform].role

    def entry(self, pin: Pin) -> FunctionEntry | None:
        return self.dictionary.get(pin.function_code) if pin.function_code else None

    def fate(self, key: PinKey) -> Fate:
        if key in self.snapshot.signal_of:
            return Fate.JOINED
        decided = self.common.fate_of.get(key)
        return decided.fate if decided else Fate.UNDECIDED

    # --- nets -----------------------------------------------------------------------------------------------------

    @cached_property
    def nets(self) -> tuple[Net, ...]:
        return nets(self.snapshot, self.variant)

    @cached_property
    def net_at(self) -> Mapping[NetEnd, int]:
        return {end: i for i, net in enumerate(self.nets) for end in net.ends}

    @cached_property
    def net_of_section(self) -> Mapping[tuple[str, int], int]:
        return {(net.signal, net.section): i for i, net in enumerate(self.nets)}

    @cached_property
    def net_pins(self) -> tuple[tuple[NetPin, ...], ...]:
        """Pins of each net."""
        pins = self.pins
        return tuple(
            tuple(NetPin(end, pins[end]) for end in net.ends if isinstance(end, PinKey) and end in pins)
            for net in self.nets
        )

    @cached_property
    def links(self) -> tuple[Link, ...]:
        """Devices that pass current between nets: both contacts of a relay, closed switches, resistors, fuses, diodes
        in their direction. A converter separates."""
        through = {
            DeviceKind.FUSE: (("1", "2"),),
            DeviceKind.RESISTOR: (("1", "2"),),
            DeviceKind.SWITCH: (("1", "2"),),
            DeviceKind.DIODE: (("A", "K"),),
            DeviceKind.RELAY: (("30", "87"), ("30", "87a")),
        }
        out = []
        for device in self.devices.values():
            for a, b in through.get(device.kind, ()):
                net_a = self.net_at.get(DeviceEnd(device.key, a))
                net_b = self.net_at.get(DeviceEnd(device.key, b))
                if net_a is not None and net_b is not None and net_a != net_b:
                    out.append(Link(device, net_a, net_b))
        return tuple(out)

    @cached_property
    def links_at(self) -> Mapping[int, tuple[Link, ...]]:
        out: dict[int, list[Link]] = defaultdict(list)
        for link in self.links:
            out[link.a].append(link)
            out[link.b].append(link)
        return {net: tuple(links) for net, links in out.items()}

    def wired(self, key: PinKey) -> bool:
        """A signal joins this pin to something else in this variant."""
        net = self.net_at.get(key)
        return net is not None and len(self.nets[net].ends) > 1

    @cached_property
    def fused_groups(self) -> tuple[tuple[int, ...], ...]:
        """Nets that are one conductor but for fuses between them."""
        group = list(range(len(self.nets)))

        def top(i: int) -> int:
            while group[i] != i:
                group[i] = group[group[i]]
                i = group[i]
            return i

        for link in self.links:
            if link.device.kind is DeviceKind.FUSE:
                group[top(link.a)] = top(link.b)
        out: dict[int, list[int]] = defaultdict(list)
        for i in range(len(self.nets)):
            out[top(i)].append(i)
        return tuple(tuple(members) for members in out.values())

    @cached_property
    def group_pins(self) -> tuple[tuple[NetPin, ...], ...]:
        """Pins of each fused group."""
        return tuple(tuple(p for net in group for p in self.net_pins[net]) for group in self.fused_groups)

    @cached_property
    def converter_nets(self) -> frozenset[int]:
        """Nets into which a converter gives."""
        return frozenset(
            net
            for d in self.devices.values()
            if d.kind is DeviceKind.CONVERTER and (net := self.net_at.get(DeviceEnd(d.key, "OUT"))) is not None
        )

    @cached_property
    def relay_ends(self) -> Mapping[str, tuple[int | None, int | None]]:
        """Relay -> the nets of its coil's two ends, 85 and 86."""
        return {
            d.key: (self.net_at.get(DeviceEnd(d.key, "85")), self.net_at.get(DeviceEnd(d.key, "86")))
            for d in self.devices.values()
            if d.kind is DeviceKind.RELAY
        }

    @cached_property
    def paths(self) -> PowerPaths:
        """Which sources reach which net."""
        return PowerPaths(self)

    @cached_property
    def _claims(self) -> Mapping[str, tuple[tuple[NetPin, NetPin], ...]]:
        return claims(self)

    def bad_pairs(self, rule: str) -> tuple[tuple[NetPin, NetPin], ...]:
        """Pairs (giver, taker) on one conductor that this rule speaks about."""
        return self._claims.get(rule, ())

    # --- the loom -------------------------------------------------------------------------------------------------

    @cached_property
    def connector_nodes(self) -> tuple[Node, ...]:
        """Loom connectors that exist in this variant."""
        there = self.snapshot.active_connectors(self.variant)
        return tuple(
            n for n in self.snapshot.job.nodes if n.kind is NodeKind.CONNECTOR and (n.mates is None or n.mates in there)
        )

    def connector(self, node: Node) -> Connector | None:
        """The platform's half that a loom connector mates with."""
        return self.snapshot.connector.get(node.mates) if node.mates is not None else None

    def housing(self, key: str) -> Housing | None:
        return self.snapshot.housing.get(key) if key else None

    def face(self, where: ConnectorKey) -> Housing | None:
        """The cavity layout of a platform's connector: its own housing, else that of the loom's half."""
        connector, node = self.snapshot.connector.get(where), self.snapshot.node_of_connector.get(where)
        for key in (connector.housing if connector else "", node.housing if node else ""):
            housing = self.housing(key)
            if housing is not None and housing.cavities:
                return housing
        return None

    def gender(self, own: Gender, housing: str) -> Gender:
        found = self.housing(housing)
        return own if own is not Gender.UNKNOWN or found is None else found.gender

    def sealed(self, node: Node) -> bool:
        housing, connector = self.housing(node.housing), self.connector(node)
        return housing.sealed if housing is not None else bool(connector and connector.sealed)

    def terminal(self, node: Node) -> str:
        """Key of the terminal family in a loom connector; "" where nobody said."""
        if node.terminal:
            return node.terminal
        housing, connector = self.housing(node.housing), self.connector(node)
        if housing is not None and housing.terminal:
            return housing.terminal
        if connector is None:
            return ""
        if connector.terminal:
            return connector.terminal
        mate = self.housing(connector.housing)
        return mate.terminal if mate is not None else ""

    @cached_property
    def wires_at_node(self) -> Mapping[str, tuple[tuple[Wire, WireEnd], ...]]:
        """Wires that end in the cavities of a loom connector, in routing order."""
        out: dict[str, list[tuple[Wire, WireEnd]]] = defaultdict(list)
        for wire in self.routing.wires:
            for end in (wire.a, wire.b):
                if end.in_connector:
                    out[end.node].append((wire, end))
        return {node: tuple(ends) for node, ends in out.items()}

    @cached_property
    def wires_of_net(self) -> Mapping[tuple[str, int], tuple[Wire, ...]]:
        """(signal, section) -> its wires."""
        out: dict[tuple[str, int], list[Wire]] = defaultdict(list)
        for wire in self.routing.wires:
            out[wire.signal, wire.section].append(wire)
        return {net: tuple(wires) for net, wires in out.items()}

    @cached_property
    def worst_current_a(self) -> Mapping[str, float]:
        """Wire id -> the largest current of any load case [A]."""
        out: dict[str, float] = {}
        for states in self.report.wires.values():
            for wire, state in states.items():
                out[wire] = max(out.get(wire, 0.0), abs(state.current_a))
        return out

    # --- words ----------------------------------------------------------------------------------------------------

    def case_name(self, key: str) -> str:
        return self.snapshot.case_name[key]

    def pin_words(self, key: PinKey) -> str:
        return f"{key.connector}-{key.cavity} ({self.platform_name(key.platform)})"

    def pin_full(self, key: PinKey) -> str:
        pin = self.pins.get(key) or self.snapshot.pin.get(key)
        function = pin.function or pin.function_code if pin else ""
        return f"{self.pin_words(key)} {function}".rstrip()

    def pins_words(self, pins: Iterable[NetPin]) -> tuple[str, ...]:
        return tuple(self.pin_full(p.key) for p in pins)

    def platform_name(self, key: str) -> str:
        platform = self.snapshot.platform.get(key)
        return platform.name if platform else key

    def node_words(self, node: Node) -> str:
        return node.name or node.key

    def signal_words(self, key: str) -> str:
        signal = self.snapshot.signal.get(key)
        return f"signal {signal.number} {signal.name}".rstrip() if signal else f"signal {key}"

    def device_words(self, device: Device) -> str:
        return f"{device.key} {device.name}".rstrip() if device.name != device.key else device.key
