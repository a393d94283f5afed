"""What the layout's table and its board share: new keys, connectors without a place, the loom to add to."""

from __future__ import annotations

from pinmap.core.crossing import edit_checks, edits
from pinmap.core.errors import InputError
from pinmap.core.model.jobs import Job, Snapshot, Variant
from pinmap.core.model.looms import Loom, Node
from pinmap.core.model.pinouts import ConnectorKey
from pinmap.core.model.words import NodeKind, natural_key


def fresh_key(job: Job, stem: str) -> str:
    """A key that no node, run or zone has."""
    taken = {n.key for n in job.nodes} | {s.key for s in job.segments} | {z.key for z in job.zones}
    return edit_checks.free_key(taken, stem)


def with_loom(job: Job, at: str = "", chosen: str = "") -> tuple[Job, str]:
    """The loom of the node ``at``, else the chosen one, else the job's first one, made when there is none. Raises
    InputError for a choice that is not there."""
    if chosen and not at:
        return job, edit_checks.find(job.looms, chosen, "loom").key
    loom = next((n.loom for n in job.nodes if n.key == at), job.looms[0].key if job.looms else "")
    return (job, loom) if loom else (edits.add_loom(job, Loom(key="loom", name="Adapter loom")), "loom")


def with_connector(job: Job, snapshot: Snapshot, loom: str, ref: str) -> tuple[Job, str]:
    """A loom connector for ``platform|connector``, and its key. Raises InputError."""
    platform, _, name = ref.partition("|")
    mate = ConnectorKey(platform, name)
    if mate not in snapshot.connector:
        raise InputError("connector", ref, "choose a connector from the list")
    key = fresh_key(job, "x")
    return edits.add_node(job, Node(key=key, loom=loom, kind=NodeKind.CONNECTOR, name=name, mates=mate)), key


def unplaced_connectors(snapshot: Snapshot, variant: Variant) -> list[tuple[ConnectorKey, str]]:
    """Platform connectors of the variant that no loom connector mates with, with words for a list."""
    free = snapshot.active_connectors(variant) - snapshot.node_of_connector.keys()
    return [
        (c, f"{snapshot.platform[c.platform].name} {c.connector} {snapshot.connector[c].description}")
        for c in sorted(free, key=lambda c: (c.platform, natural_key(c.connector)))
    ]
