"""Random small jobs with every kind of part that the network knows."""

from __future__ import annotations

import random
from dataclasses import replace

from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import Loom, Mating, Node, Zone
from pinmap.core.model.pinouts import Cavity, Housing
from pinmap.core.model.words import DeviceKind, Direction, Gender, Kind, NodeKind
from tests.factories_looms import JobMaker

IN, OUT, BOTH = Direction.IN, Direction.OUT, Direction.BOTH

MODELS: tuple[dict[str, str], ...] = (
    {"load_model": "amperes", "load_value": "2.5"},
    {"load_model": "amperes", "load_value": "K=1; I=2; F=4.5"},
    {"load_model": "watts", "load_value": "40"},
    {"load_model": "ohms", "load_value": "8"},
    {"load_model": "duty", "load_value": "6", "load_duty_pct": "35"},
    {"load_model": "coil", "load_peak_a": "6", "load_dwell_ms": "3", "load_rpm": "I=800; F=6000"},
    {"load_model": "coil", "load_peak_a": "5.5", "load_mh": "7.5", "load_ohm": "0.45", "load_rpm": "3000"},
    {"load_model": "injector", "load_value": "12", "load_pulse_ms": "4", "load_rpm": "I=800; F=5000"},
    {"load_model": "pump", "load_flow_l_h": "100", "load_pressure_bar": "3", "load_efficiency_pct": "25"},
    {"load_model": "motor", "load_value": "7", "load_inrush_a": "35", "load_inrush_s": "0.2"},
    {"load_model": "glow plug", "load_value": "60", "load_at_v": "11", "load_inrush_a": "15", "load_inrush_s": "3"},
    {"load_model": "lamp", "load_value": "55"},
)  # fmt: skip


def say(m: JobMaker, text: str, **columns: str) -> None:
    """Adds columns of the user's own to a pin."""
    key = m.key(text)
    pins = m.pins[key.platform]
    pin = pins[key.connector, key.cavity]
    pins[key.connector, key.cavity] = replace(pin, extra=(*pin.extra, *columns.items()))


def bench_loom() -> JobMaker:
    """Host, engine and unit on one junction, with a box for devices."""
    m = JobMaker()
    m.zones = [Zone(key="z", name="Bay", ambient_c=40.0)]
    for side, length_m in (("h", 1.0), ("d", 2.0), ("u", 0.5)):
        m.mate(f"x{side}", f"{side}:C1")
        m.run(f"x{side}", "j", length_m, "z")
    m.junction("j")
    m.junction("box", kind=NodeKind.PLACE)
    m.run("box", "j", 0.3, "z")
    return m


class _Random:
    def __init__(self, seed: int) -> None:
        self.r = random.Random(seed)
        self.m = bench_loom()
        self.used = {"h": 0, "d": 0, "u": 0}
        self.devices = 0

    def pin(self, side: str, kind: Kind, direction: Direction, **values: object) -> str:
        self.used[side] += 1
        text = f"{side}:C1-{self.used[side]}"
        mm2 = self.r.choice([0.5, 0.75, 1.0, 2.5, 4.0])
        self.m.pin(text, kind, direction, mm2=mm2, **values)  # type: ignore[arg-type]  # test helper
        return text

    def device(self, kind: DeviceKind, **values: object) -> str:
        self.devices += 1
        key = f"{kind.value[0].upper()}{self.devices}"
        self.m.device(key, kind, "box", **values)
        return key

    def unit(self) -> None:
        r, m = self.r, self.m
        supply, ground = self.pin("u", Kind.SUPPLY_30, IN, amps=0.8), self.pin("u", Kind.GROUND, IN)
        m.signal(self.pin("h", Kind.SUPPLY_30, OUT), supply)
        m.signal(ground, self.pin("h", Kind.GROUND, OUT))
        if r.random() < 0.5:
            m.signal(self.pin("u", Kind.GROUND, IN), self.pin("h", Kind.GROUND, OUT))
        back = self.pin("u", Kind.SENSOR_GROUND, OUT)
        sensors = [f"sensor{i}" for i in range(r.randint(1, 3))]
        m.signal(
            self.pin("u", Kind.REFERENCE_5V, OUT),
            *(self.pin("d", Kind.REFERENCE_5V, IN, amps=r.uniform(0.005, 0.03), component=s) for s in sensors),
        )
        ends = [self.pin("d", Kind.SENSOR_GROUND, IN, component=s) for s in sensors]
        if r.random() < 0.7:
            probe, ohm = self.pin("d", Kind.NTC, OUT, component="probe"), self.pin("u", Kind.NTC, IN)
            say(m, probe, load_model="ohms", load_value=f"{r.uniform(200, 5000):.1f}")
            say(m, ohm, pull_up_ohm="2200", **({"pull_up_v": "12"} if r.random() < 0.3 else {}))
            m.signal(probe, ohm)
            ends.append(self.pin("d", Kind.SENSOR_GROUND, IN, component="probe"))
        m.signal(back, *ends)
        if r.random() < 0.5:
            for kind in (Kind.CAN_H, Kind.CAN_L):
                far, near = self.pin("d", kind, BOTH), self.pin("u", kind, BOTH)
                m.signal(far, near)
                say(m, near, terminator_ohm="120")
                say(m, far, terminator_ohm="120")

    def loads(self) -> None:
        """One feed with a few loads behind fuse, relay, diode or none, and its ways back."""
        r, m = self.r, self.m
        n = r.randint(1, 4)
        names = [f"load{self.used['d']}-{i}" for i in range(n)]
        feeds = []
        for name in names:
            feed = self.pin("d", Kind.HIGH_SIDE, IN, component=name)
            say(m, feed, **(r.choice(MODELS) | {"load_states": r.choice(["KCIFA", "KIF", "CF", "KCIF"])}))
            feeds.append(feed)
        inline = [self.device(DeviceKind.FUSE, rating_a=20.0)] if r.random() < 0.7 else []
        if r.random() < 0.4:
            relay = self.device(DeviceKind.RELAY, coil_ohm=r.uniform(60, 110))
            inline.append(relay)
            plus = m.signal(self.pin("h", Kind.SUPPLY_15, OUT), f"{relay}.86")
            minus = m.signal(f"{relay}.85", self.pin("u", Kind.LOW_SIDE, OUT))
            if r.random() < 0.5:  # free-wheeling diode, cathode to plus
                diode = self.device(DeviceKind.DIODE)
                for signal, terminal in ((plus, "K"), (minus, "A")):
                    i = m.signals.index(signal)
                    more = m.signal(f"{diode}.{terminal}")
                    m.signals.pop()
                    m.signals[i] = replace(signal, members=(*signal.members, *more.members))
        if r.random() < 0.4:
            inline.append(self.device(DeviceKind.DIODE))
        if r.random() < 0.2:
            inline.append(self.device(DeviceKind.RESISTOR, resistance_ohm=r.uniform(0.01, 0.3)))
        if r.random() < 0.2:
            inline.append(self.device(DeviceKind.SWITCH))
        source = self.pin("h", r.choice([Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75]), OUT)
        m.signal(source, *((feed, len(inline)) for feed in feeds), inline=inline)
        if r.random() < 0.3:  # a second supply, or-ed by a diode
            diode = self.device(DeviceKind.DIODE)
            m.signal(self.pin("h", Kind.SUPPLY_30, OUT), f"{diode}.A")
            last = m.signals[-2]
            more = m.signal(f"{diode}.K")
            m.signals.pop()
            member = replace(more.members[0], section=len(inline))
            m.signals[-2] = replace(last, members=(*last.members, member))
        shared = [self.pin("d", Kind.GROUND, IN, component=name) for name in names[: r.randint(0, n)]]
        if shared:
            m.signal(*shared, *(self.pin("h", Kind.GROUND, OUT) for _ in range(r.randint(1, 2))))
        for name in names[len(shared) :]:
            driven = self.pin("d", Kind.LOW_SIDE, IN, component=name)
            m.signal(driven, self.pin("u", Kind.LOW_SIDE, OUT))

    def supplies(self) -> None:
        r, m = self.r, self.m
        if r.random() < 0.6:
            say(m, "h:C1-1", battery_ohm=f"{r.uniform(0.004, 0.02):.4f}")
            if r.random() < 0.5:
                say(m, "h:C1-1", battery_charge_pct=f"{r.randint(20, 100)}")
            if r.random() < 0.7:
                out = self.pin("d", Kind.SUPPLY_30, OUT)
                say(m, out, alternator_max_a=f"{r.choice([15, 40, 90])}")
                m.signal(out, self.pin("h", Kind.SUPPLY_30, OUT))
        for (connector, cavity), pin in list(m.pins["h"].items()):
            if pin.kind is Kind.GROUND and r.random() < 0.3:
                say(m, f"h:{connector}-{cavity}", chassis_ohm=f"{r.uniform(0.0005, 0.01):.4f}")
        if r.random() < 0.4:
            block = self.pin("d", Kind.GROUND, OUT)
            m.signal(block, self.pin("d", Kind.GROUND, IN))
            if r.random() < 0.5:
                say(m, block, chassis_ohm="0.002")

    def job(self) -> Snapshot:
        self.unit()
        for _ in range(self.r.randint(1, 5)):
            self.loads()
        self.supplies()
        return self.m.snapshot()


def random_job(seed: int) -> Snapshot:
    """A job that is the same for the same seed: branched feeds, shared grounds, diodes, relays, every load model,
    battery and alternator, references, pull-ups, bus terminators."""
    return _Random(seed).job()


def in_two_looms(snapshot: Snapshot, cavities: int = 40) -> Snapshot:
    """A job of ``bench_loom`` with the run to the engine cut by two in-line connectors, so that a loom of its own lies
    beyond."""
    job = snapshot.job
    run = next(s for s in job.segments if s.a == "xd")
    half = Node(key="pc", loom="main", kind=NodeKind.CONNECTOR, name="PC", housing="cap", terminal="blade-2.8-sealed")
    nodes = tuple(replace(n, loom="engine") if n.key == "xd" else n for n in job.nodes)
    places = tuple(Cavity(name=str(i + 1), column=i % 10, row=i // 10) for i in range(cavities))
    plug, cap = (
        Housing(key=key, name=f"{key.capitalize()} of {cavities}", cavities=places, gender=gender, sealed=True)
        for key, gender in (("plug", Gender.PIN), ("cap", Gender.SOCKET))
    )
    job = replace(
        job,
        looms=(*job.looms, Loom(key="engine", name="Engine loom")),
        nodes=(*nodes, half, replace(half, key="pe", name="PE", loom="engine", housing="plug")),
        segments=(
            *(s for s in job.segments if s is not run),
            replace(run, loom="engine", b="pe", length_m=run.length_m / 2),
            replace(run, key="beyond", a="pc", length_m=run.length_m / 2),
        ),
        matings=(Mating(key="m1", a="pc", b="pe"),),
    )
    return replace(snapshot, job=job, housings=(*snapshot.housings, plug, cap))
