"""Small random jobs for sizing: one or two fused feeds over shared ways, shared or doubled grounds, three load laws."""

from __future__ import annotations

import random
from dataclasses import replace

from pinmap.core.model.jobs import DEFAULT_LOAD_CASES, Practice, Snapshot
from pinmap.core.model.looms import Zone
from pinmap.core.model.words import DeviceKind, Direction, Kind, NodeKind
from tests.factories_looms import JobMaker


def sizing_job(seed: int, stock: tuple[float, ...] = (0.5, 1.5, 4.0)) -> Snapshot:
    """A job with three to five wires to size; the same for the same seed. A load is up to 12 A, with 3 or 10 % to lose
    (by its pin's kind of signal), on runs of up to 6 m, some of them in one hot bundle."""
    r = random.Random(seed)
    m = JobMaker(Practice(stock_mm2=stock, min_mm2=stock[0], drop_other_pct=r.choice((3.0, 5.0, 10.0))))
    m.zones = [Zone(key="z", name="Zone", ambient_c=r.choice((40.0, 85.0, 100.0)))]
    m.mate("xh", "h:H1")
    m.mate("xd", "d:D1")
    m.junction("j")
    m.junction("box", kind=NodeKind.PLACE)
    m.run("xh", "box", r.choice((0.05, 0.3)), "z")
    m.run("box", "j", r.uniform(0.3, 3.0), "z")
    m.run("j", "xd", r.uniform(0.3, 3.0), "z")
    n_loads = r.choice((1, 1, 1, 2))
    shared = r.random() < (0.6 if n_loads == 1 else 0.1)
    fused = n_loads == 1 and r.random() < 0.8
    laws = []
    for i in range(n_loads):
        amps = round(r.uniform(0.3, 12.0), 1)
        m.pin(f"d:D1-{2 * i + 1}", Kind.SUPPLY_30, Direction.IN, amps=amps, component=f"load {i}")
        m.pin(f"d:D1-{2 * i + 2}", Kind.GROUND, Direction.IN, component=f"load {i}")
        laws.append((amps, r.choice(("amperes", "amperes", "ohms", "watts"))))
    m.pin("h:H1-1", Kind.SUPPLY_30, Direction.OUT)
    for g in (2, 3):
        m.pin(f"h:H1-{g}", Kind.GROUND, Direction.OUT)
    feeds = [f"d:D1-{2 * i + 1}" for i in range(n_loads)]
    if fused:
        total = sum(a for a, _ in laws)
        rating = next(x for x in (5.0, 7.5, 10.0, 15.0, 20.0, 30.0, 40.0) if x >= min(total / 0.7, 40.0))
        m.device("F1", DeviceKind.FUSE, "box", rating_a=rating)
        m.signal("h:H1-1", *((f, 1) for f in feeds), inline=("F1",))
    else:
        m.signal("h:H1-1", *feeds)
    backs = [f"d:D1-{2 * i + 2}" for i in range(n_loads)]
    if shared or n_loads == 1:
        m.signal(*backs, "h:H1-2", *(("h:H1-3",) if n_loads == 1 and r.random() < 0.3 else ()))
    else:
        for g, back in zip((2, 3), backs, strict=True):
            m.signal(back, f"h:H1-{g}")
    snapshot = m.snapshot()
    donor = next(p for p in snapshot.platforms if p.key == "d")
    pins = tuple(
        replace(p, extra=_law(*laws[(int(p.cavity) - 1) // 2])) if int(p.cavity) % 2 else p for p in donor.pins
    )
    platforms = tuple(replace(donor, pins=pins) if p is donor else p for p in snapshot.platforms)
    cases = tuple(c for c in DEFAULT_LOAD_CASES if c.code in "CF")
    return Snapshot(replace(snapshot.job, load_cases=cases), platforms)


def _law(amps: float, law: str) -> tuple[tuple[str, str], ...]:
    if law == "amperes":
        return ()
    value = 13.5 / amps if law == "ohms" else 13.5 * amps
    return (("load_model", law), ("load_value", f"{value:.4g}"))


def moving_job(seed: int, stock: tuple[float, ...] = (0.5, 1.5, 4.0)) -> Snapshot:
    """A job whose splices move with the sizes: one source and one ground, two or three loads that share both over a
    loom with several branch points, beginning with random sizes from stock; the same for the same seed."""
    r = random.Random(seed)
    m = JobMaker(Practice(stock_mm2=stock, min_mm2=stock[0], drop_other_pct=r.choice((2.0, 3.0, 5.0)),
                          splice_cost_g=r.choice((0.5, 2.0))))  # fmt: skip
    m.zones = [Zone(key="z", name="Zone", ambient_c=r.choice((40.0, 85.0)))]
    m.mate("xh", "h:H1")
    n_loads = r.choice((2, 2, 3))
    m.junction(*(f"j{i}" for i in range(n_loads + 1)))
    m.run("xh", "j0", r.uniform(0.3, 2.0), "z")
    for i in range(n_loads):
        m.mate(f"xd{i}", f"d:D{i}")
        m.run(f"j{i}", f"j{i + 1}", r.uniform(0.3, 2.5), "z")
        m.run(f"j{i + 1}", f"xd{i}", r.uniform(0.1, 2.5), "z")
        amps = round(r.choice((0.5, 3.0, 9.0)) * r.uniform(0.5, 1.5), 1)
        m.pin(f"d:D{i}-1", Kind.SUPPLY_30, Direction.IN, amps=amps, component=f"load {i}", mm2=r.choice(stock))
        m.pin(f"d:D{i}-2", Kind.GROUND, Direction.IN, component=f"load {i}", mm2=r.choice(stock))
    m.pin("h:H1-1", Kind.SUPPLY_30, Direction.OUT, mm2=r.choice(stock))
    m.pin("h:H1-2", Kind.GROUND, Direction.OUT, mm2=r.choice(stock))
    m.signal("h:H1-1", *(f"d:D{i}-1" for i in range(n_loads)))
    m.signal(*(f"d:D{i}-2" for i in range(n_loads)), "h:H1-2")
    snapshot = m.snapshot()
    cases = tuple(c for c in DEFAULT_LOAD_CASES if c.code in "CF")
    return Snapshot(replace(snapshot.job, load_cases=cases), snapshot.platforms)
