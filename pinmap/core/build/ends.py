"""How a builder reads the end of a wire."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from pinmap.core.facts.colours import parse_colour
from pinmap.core.facts.parts import terminals
from pinmap.core.loom.results import Wire, WireEnd
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import Device, Loom, Node
from pinmap.core.model.pinouts import Connector, ConnectorKey, Housing, Pin
from pinmap.core.model.words import DeviceKind, Evidence, Gender


@dataclass(frozen=True, slots=True, kw_only=True)
class EndWords:
    """One end in words. ``place`` is a loom connector, a device or a splice; ``mates`` the platform's connector, or the
    other loom's, that the loom connector plugs into; evidence is "" where no platform's pin is concerned."""

    place: str
    cavity: str
    mates: str = ""
    terminal: str = ""
    function: str = ""
    evidence: str = ""
    evidence_ref: str = ""
    label: str = ""

    @property
    def proven(self) -> bool:
        """Nothing is owed at this end: it is no platform's pin, or the pin was measured."""
        return self.evidence in ("", Evidence.MEASURED.value)

    @property
    def evidence_text(self) -> str:
        return f"{self.evidence}: {self.evidence_ref}" if self.evidence_ref else self.evidence


def end_words(snapshot: Snapshot, end: WireEnd) -> EndWords:
    """The end as it stands on the build table."""
    if end.pin is not None:
        key = end.pin
        node = snapshot.node.get(end.node)
        platform = snapshot.platform[key.platform]
        pin: Pin | None = snapshot.pin.get(key)
        return EndWords(
            place=(node.name or node.key) if node is not None else key.connector,
            cavity=key.cavity,
            mates=f"{platform.name} {key.connector}",
            terminal=terminal_name(terminal_key(snapshot, node)) if node is not None else "",
            function=(pin.function or pin.function_code) if pin is not None else "",
            evidence=pin.evidence.value if pin is not None else Evidence.ASSUMED.value,
            evidence_ref=pin.evidence_ref if pin is not None else "",
            label=end.label,
        )
    if end.device is not None:
        device = snapshot.device[end.device.device]
        return EndWords(
            place=device.key,
            cavity=end.device.terminal,
            terminal=device_terminal(device),
            function=f"{device.name}: {device_words(device)}" if device.name else device_words(device),
            label=end.label,
        )
    if end.mated is not None:
        node, other = snapshot.node[end.node], snapshot.node[snapshot.mating_of[end.node].other(end.node)]
        return EndWords(
            place=node.name or node.key,
            cavity=end.mated.cavity,
            mates=other.name or other.key,
            terminal=terminal_name(terminal_key(snapshot, node)),
            label=end.label,
        )
    return EndWords(place=end.splice, cavity="", terminal="splice", label=end.label)


def by_loom(snapshot: Snapshot, wires: Iterable[Wire]) -> list[tuple[Loom, list[Wire]]]:
    """Wires by the loom that they are part of, in the order of the job's looms; a wire is part of one."""
    found: dict[str, list[Wire]] = {loom.key: [] for loom in snapshot.job.looms}
    for wire in wires:
        found[snapshot.node[wire.a.node].loom].append(wire)
    return [(loom, found[loom.key]) for loom in snapshot.job.looms if found[loom.key]]


def device_terminal(device: Device) -> str:
    """What is crimped to a wire that ends at this device."""
    return "ring terminal" if device.kind is DeviceKind.STUD else f"{device.kind.value} terminal"


def device_words(device: Device) -> str:
    """Kind and value, such as "fuse 15 A" or "resistor 120 Ω"."""
    text = device.kind.value
    if device.rating_a is not None:
        text += f" {device.rating_a:g} A"
    if device.kind.value == "resistor" and device.resistance_ohm is not None:
        text += f" {device.resistance_ohm:g} Ω"
    return text


def platform_connector(snapshot: Snapshot, node: Node) -> Connector | None:
    return snapshot.connector.get(ConnectorKey(*node.mates)) if node.mates is not None else None


def loom_housing(snapshot: Snapshot, node: Node) -> Housing | None:
    """The loom connector's own housing; while it is not named, the platform's half, whose cavities are the same."""
    connector = platform_connector(snapshot, node)
    return snapshot.housing.get(node.housing) or (snapshot.housing.get(connector.housing) if connector else None)


def loom_gender(snapshot: Snapshot, node: Node) -> Gender:
    """Gender of the loom's contacts: its own, or the opposite of the platform's; where it meets no platform, its
    housing's."""
    if node.gender is not Gender.UNKNOWN:
        return node.gender
    if node.mates is None:
        housing = snapshot.housing.get(node.housing)
        return housing.gender if housing is not None else Gender.UNKNOWN
    connector = platform_connector(snapshot, node)
    theirs = connector.gender if connector is not None else Gender.UNKNOWN
    return {Gender.PIN: Gender.SOCKET, Gender.SOCKET: Gender.PIN}.get(theirs, Gender.UNKNOWN)


def is_sealed(snapshot: Snapshot, node: Node) -> bool:
    housing, connector = loom_housing(snapshot, node), platform_connector(snapshot, node)
    return (housing is not None and housing.sealed) or (connector is not None and connector.sealed)


def terminal_key(snapshot: Snapshot, node: Node) -> str:
    """Terminal family of a loom connector: its own, its housing's, or the platform's half's; "" while not known."""
    housing, connector = loom_housing(snapshot, node), platform_connector(snapshot, node)
    return node.terminal or (housing.terminal if housing else "") or (connector.terminal if connector else "")


def terminal_name(key: str) -> str:
    """Name of a terminal family; a key that the parts table does not have stands for itself."""
    family = terminals().get(key)
    return family.name if family is not None else key


@lru_cache(maxsize=4096)
def colour_letters(text: str) -> str:
    """IEC 60757 letters such as "GN/YE"; what cannot be read as a colour stays as it was typed."""
    letters = parse_colour(text) if text else ()
    return "/".join(letters) or text
