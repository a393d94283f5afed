"""What belongs on a map of lines: the places and hops of some signals, and the whole way of their loads."""

from __future__ import annotations

from pinmap.core.model.jobs import Snapshot
from pinmap.core.tracing.flow import Flow, Hop, Place, PlaceKind
from pinmap.core.tracing.path import downstream, upstream


def map_content(
    streams: Flow, keys: set[str], snapshot: Snapshot, whole_way: bool
) -> tuple[dict[str, Place], list[Hop]]:
    """Places and hops to be drawn, in the order of the flow."""
    hops = {hop for hop in streams.hops if hop.wire is not None and hop.wire.signal in keys}
    names = {end for hop in hops for end in (hop.a, hop.b)}
    ends = {m.end for key in keys for m in snapshot.signal[key].members}
    names |= {p.id for p in streams.places.values() if p.pin is not None and p.pin in ends}
    if whole_way:
        for start in [n for n in streams.places if n in names and streams.places[n].kind is PlaceKind.PIN]:
            for _, hop in (*upstream(streams, start), *downstream(streams, start, set())):
                if hop is not None:
                    hops.add(hop)
                    names |= {hop.a, hop.b}
    for hop in streams.hops:
        if hop.wire is not None:
            continue
        pin, centre = (hop.a, hop.b) if streams.places[hop.a].kind is PlaceKind.PIN else (hop.b, hop.a)
        if pin in names and (streams.places[centre].kind is PlaceKind.COMPONENT or centre in names):
            hops.add(hop)
            names.add(centre)
    return {n: p for n, p in streams.places.items() if n in names}, [h for h in streams.hops if h in hops]
