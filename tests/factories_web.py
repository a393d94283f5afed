"""A small job with something on every screen, and a visitor who fills in its forms as a person would."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Self
from urllib.parse import urljoin

from bs4 import BeautifulSoup, Tag
from fastapi.testclient import TestClient
from httpx import Response

from pinmap.core.crossing import edits
from pinmap.core.facts.functions import FunctionEntry
from pinmap.core.model.jobs import Job, Pick, Seat, Snapshot
from pinmap.core.model.looms import Device, Fixing, Loom, Node, Segment, Zone
from pinmap.core.model.people import PersonRole
from pinmap.core.model.pinouts import Connector, ConnectorKey, Edition, Pin, PinKey
from pinmap.core.model.words import DeviceKind, Direction, Fate, FixingKind, Kind, NodeKind, Role
from pinmap.services import dictionary, jobs, people, pinout_import, platforms, questions, revisions, sharing
from pinmap.services.shop import Shop
from tests.factories_people import session_of

JOB, DONE = "/jobs/bench", "/jobs/bench-done"
OUT, IN = Direction.OUT, Direction.IN


def _pin(cavity: str, function: str, kind: Kind, direction: Direction, **more: object) -> Pin:
    return Pin(connector="C1", cavity=cavity, function=function, kind=kind, direction=direction, **more)  # type: ignore[arg-type]  # fields of Pin


def make_bench(shop: Shop) -> None:
    """Platforms "rig" (donor) and "cart" (host); job "bench" with open pins, signals, devices and a layout; job
    "bench-done" with nothing open, a revision A with a link and a reader's question, and a draft put aside; a function
    WINCH of the shop's own; a pinout draft with a bad row and one that meets a pin on file."""
    rig = (
        _pin("1", "Lamp feed", Kind.SUPPLY_30, IN, current_a=4.0),
        _pin("2", "Ground", Kind.GROUND, IN),
        _pin("3", "Crank sensor signal", Kind.PULSE, OUT),
        _pin("4", "Oil pressure switch", Kind.SWITCH_TO_GROUND, OUT),
        _pin("5", "Spare", Kind.UNKNOWN, Direction.PASSIVE),
    )
    cart = (
        _pin("1", "Battery +", Kind.SUPPLY_30, OUT),
        _pin("2", "Ground", Kind.GROUND, OUT),
        _pin("3", "Crank sensor signal", Kind.PULSE, IN),
        _pin("4", "Oil pressure switch", Kind.SWITCH_TO_GROUND, IN),
    )
    for key, role, pins in (("rig", Role.DONOR, rig), ("cart", Role.HOST, cart)):
        made = platforms.create(
            shop,
            key=key,
            name=key.title(),
            role=role,
            editions=(Edition(key="late", name="late"),) if pins is cart else (),
        )
        made = platforms.add_connector(shop, key, made.version, Connector(name="C1", description="test connector"))
        if key == "cart":
            made = platforms.add_connector(shop, key, made.version, Connector(name="C2", description="not placed yet"))
        for pin in pins:
            made = platforms.add_pin(shop, key, made.version, pin)
    platforms.create(shop, key="lone", name="Lone", role=Role.ACCESSORY)
    for key in ("bench", "bench-done"):
        seats = (
            Seat(key="donor", name="donor", role=Role.DONOR, picks=(Pick("rig"),)),
            Seat(key="host", name="host", role=Role.HOST, picks=(Pick("cart", "late"),)),
        )
        view = jobs.create_job(shop, key, key.replace("-", " ").capitalize(), seats)
        jobs.edit(shop, key, view.version, _built if key == "bench" else _finished)
    done = jobs.get(shop, "bench-done").version
    revisions.release(shop, "bench-done", done, "A. Fitter", "first")
    done = jobs.get(shop, "bench-done").version
    done = jobs.edit(shop, "bench-done", done, lambda job, _: edits.update_job(job, note="after revision A")).version
    revisions.restore(shop, "bench-done", "A", done, "A. Fitter")
    token = sharing.create_link(shop, "bench-done", "A", days=7, label="Customer")
    questions.ask(shop, token, "", pin="", name="", text="Which fuse is it?", address="here")
    for role in PersonRole:  # 1 owner, 2 builder, 3 technician who may not sign in
        session_of(shop, role)
    people.disable(shop, 3, 1)
    dictionary.add(shop, FunctionEntry(code="WINCH", name="Winch motor", current_a=90.0, states="F"))
    pinout_import.stage_text(
        shop, "rig", "connector\tcavity\tfunction\tcurrent_a\nC1\t1\tLamp feed\t5\nC1\t9\tHorn\tmuch\nC1\t8\tFan\t3\n"
    )


def _built(job: Job, snapshot: Snapshot) -> Job:
    known = snapshot.pin.keys()
    job = edits.add_zone(job, Zone(key="bay", name="engine bay", ambient_c=85.0))
    job = edits.add_loom(job, Loom(key="loom", name="Adapter loom"))
    job = edits.add_node(
        job, Node(key="xr", loom="loom", kind=NodeKind.CONNECTOR, name="to rig", mates=ConnectorKey("rig", "C1"))
    )
    job = edits.add_node(job, Node(key="box", loom="loom", kind=NodeKind.PLACE, name="fuse box"))
    job = edits.add_node(job, Node(key="j9", loom="loom", kind=NodeKind.JUNCTION, name="spare branch"))
    job = edits.add_node(
        job, Node(key="xc", loom="loom", kind=NodeKind.CONNECTOR, name="to cart", mates=ConnectorKey("cart", "C1"))
    )
    job = edits.add_segment(job, Segment(key="r1", loom="loom", a="xr", b="box", length_m=0.8, zone="bay"))
    job = edits.add_segment(job, Segment(key="r2", loom="loom", a="box", b="xc", length_m=0.4))
    clip = Fixing(key="c1", segment="r2", kind=FixingKind.CLIP, at_m=0.2, inner_mm=16.0)
    job = edits.add_fixing(job, clip)
    job = edits.add_device(job, Device(key="F1", kind=DeviceKind.FUSE, name="lamps", place="box", rating_a=7.5))
    job = edits.add_device(job, Device(key="F2", kind=DeviceKind.FUSE, name="spare", place="box", rating_a=10.0))
    job = edits.join(job, [PinKey("rig", "C1", "1"), PinKey("cart", "C1", "1")], name="Lamp feed", mm2=4.0, known=known)
    job = edits.put_in_line(job, "s001", "F1", downstream=[PinKey("rig", "C1", "1")])
    job = edits.join(job, [PinKey("rig", "C1", "2"), PinKey("cart", "C1", "2")], name="Ground", mm2=1.234, known=known)
    return edits.set_fate(job, PinKey("rig", "C1", "5"), Fate.PARKED, "not used", known=known)


def _finished(job: Job, snapshot: Snapshot) -> Job:
    """Every pin parked but two, so that nothing is left to decide and no rule says stop."""
    job = edits.join(
        job, [PinKey("rig", "C1", "3"), PinKey("cart", "C1", "3")], name="Crank", known=snapshot.pin.keys()
    )
    for pin in snapshot.pin:
        if pin.cavity != "3":
            job = edits.set_fate(job, pin, Fate.CAPPED if pin.cavity == "1" else Fate.PARKED, "not used")
    return job


class Form:
    """A form of a page with what its fields hold."""

    def __init__(self, tag: Tag, page: BeautifulSoup) -> None:
        self.tag = tag
        own = [t for t in tag.select("input, select, textarea, button") if not t.get("form")]
        apart = page.select(f'[form="{tag["id"]}"]') if tag.get("id") else []
        self.controls = [t for t in (*own, *apart) if t.get("name")]
        self.buttons = [t for t in (*own, *apart) if t.name == "button" and t.get("type", "submit") == "submit"]

    @property
    def action(self) -> str:
        return str(self.tag.get("action", ""))

    def values(self) -> dict[str, list[str]]:
        """What the browser would send if nobody typed anything, without buttons."""
        found: dict[str, list[str]] = {}
        for t in self.controls:
            kind = str(t.get("type", "text")) if t.name == "input" else t.name
            if kind in ("button", "submit", "file"):
                continue
            if kind in ("checkbox", "radio"):
                if t.has_attr("checked"):
                    found.setdefault(str(t["name"]), []).append(str(t.get("value", "on")))
                continue
            found.setdefault(str(t["name"]), []).append(_held(t))
        return found

    def offered(self, name: str) -> list[str]:
        """What a choice, tick or button of this name can send."""
        out = []
        for t in self.controls:
            if t["name"] != name:
                continue
            options = t.select("option") if t.name == "select" else [t]
            out += [str(o["value"]) if o.has_attr("value") else o.get_text().strip() for o in options]
        return out

    def filled(self, typed: Mapping[str, str | Sequence[str]], press: str = "") -> dict[str, list[str]]:
        """What is sent after these were typed, chosen and ticked and a button pressed ("name=value"). Fails for what
        the form does not offer."""
        found = self.values()
        for name, value in typed.items():
            values = [value] if isinstance(value, str) else list(value)
            mine = [t for t in self.controls if t["name"] == name]
            assert mine, (
                f"{self.action} has no field {name!r}; it has {sorted({str(t['name']) for t in self.controls})}"
            )
            if mine[0].name == "select" or mine[0].get("type") in ("checkbox", "radio"):
                for v in values:
                    assert v in self.offered(name), f"{self.action}: {name} offers {self.offered(name)}, not {v!r}"
            found[name] = values
        if press:
            name, _, value = press.partition("=")
            assert value in self.offered(name), f"{self.action}: no button {press}, but {self.offered(name)}"
            found[name] = [value]
        return found

    def untouched(self, sent: Mapping[str, Sequence[str]]) -> str:
        """Names of the fields that were left as they came, as the page's script adds them."""
        before = self.values()
        hidden = {str(t["name"]) for t in self.controls if t.get("type") == "hidden" or t.name == "button"}
        filled = str(self.tag.get("data-touched", "")).split()
        names = dict.fromkeys(str(t["name"]) for t in self.controls if str(t["name"]) not in hidden)
        return " ".join(n for n in names if n not in filled and list(sent.get(n, [])) == before.get(n, []))


def _held(t: Tag) -> str:
    if t.name == "textarea":
        return t.get_text().removeprefix("\n")
    if t.name == "select":
        options = t.select("option")
        chosen = [o for o in options if o.has_attr("selected")] or options[:1]
        return (
            (str(chosen[0]["value"]) if chosen[0].has_attr("value") else chosen[0].get_text().strip()) if chosen else ""
        )
    return str(t.get("value", ""))


class Visitor:
    """Someone with a browser: opens pages, fills in forms, follows where they lead. ``script`` says whether the page's
    own script runs, ``sends_referer`` whether the browser says where a form stood."""

    def __init__(self, client: TestClient, *, script: bool = True, sends_referer: bool = True) -> None:
        self.client, self.script, self.sends_referer = client, script, sends_referer
        self.at = "/"

    @property
    def shop(self) -> Shop:
        shop = self.client.app.state.shop  # type: ignore[attr-defined]  # a FastAPI app
        assert isinstance(shop, Shop)
        return shop

    def _take(self, answer: Response) -> Self:
        self.answer = answer
        self._page: BeautifulSoup | None = None
        if answer.request.method == "GET":
            self.at = answer.url.raw_path.decode()
        return self

    @property
    def page(self) -> BeautifulSoup:
        """The page that came last; parsed when first asked for, since that takes longer than many an answer."""
        if self._page is None:
            self._page = BeautifulSoup(self.answer.text, "html.parser")
        return self._page

    @property
    def status(self) -> int:
        return self.answer.status_code

    @property
    def text(self) -> str:
        """What is to be read on the page, blanks run together."""
        return " ".join(self.page.get_text(" ").split())

    def open(self, address: str, status: int = 200) -> Self:
        self._take(self.client.get(address))
        assert self.status == status, f"{address}: {self.status} {self.text[:600]}"
        return self

    def follow(self, words: str) -> Self:
        """Follows the link with these words."""
        for a in self.page.select("a[href]"):
            if " ".join(a.get_text(" ").split()) == words:
                return self.open(urljoin(self.at, str(a["href"])))
        raise AssertionError(f"no link {words!r} at {self.at}")

    def form(self, action: str, press: str = "", **hidden: str) -> Form:
        """The form that posts to an address, of several the one with this button and these hidden values."""
        name, _, value = press.partition("=")
        found = [Form(t, self.page) for t in self.page.select("form[method=post]") if t.get("action") == action]
        found = [f for f in found if all(f.values().get(k) == [v] for k, v in hidden.items())]
        found = [f for f in found if not press or value in f.offered(name)]
        assert found, f"no form {action} {hidden} at {self.at}: {[t.get('action') for t in self.page.select('form')]}"
        return found[0]

    def send(
        self,
        action: str,
        typed: Mapping[str, str | Sequence[str]] | None = None,
        *,
        press: str = "",
        hidden: Mapping[str, str] | None = None,
        file: tuple[str, bytes] | None = None,
    ) -> Self:
        """Fills in a form of this page, sends it, and follows where it leads."""
        form = self.form(action, press, **(hidden or {}))
        data = form.filled(typed or {}, press)
        if self.script and "version" in data:
            data["untouched"] = [form.untouched(data)]
        files = {"file": file} if file else None
        return self.post(action, data, files)

    def post(
        self, action: str, data: Mapping[str, object], files: Mapping[str, tuple[str, bytes]] | None = None
    ) -> Self:
        """Sends fields to an address as if from a form of this page."""
        headers = {"referer": f"http://testserver{self.at}"} if self.sends_referer else {}
        return self._take(self.client.post(action, data=data, files=files, headers=headers))

    def sent(self, *args: object, **more: object) -> Self:
        """As ``send``, for a form that must be taken."""
        self.send(*args, **more)  # type: ignore[arg-type]  # the same arguments
        assert self.status == 200, f"{self.status} {self.text[:1500]}"
        return self

    def refused(self, *words: str, status: int = 422) -> Self:
        """The last form was refused with this status and these words."""
        assert self.status == status, f"{self.status} {self.text[:800]}"
        for w in words:
            assert w in self.text, f"{w!r} is not in {self.text[:3000]}"
        return self

    def notice(self) -> str:
        """What the page says was done."""
        line = self.page.find(attrs={"role": "status"})
        return line.get_text() if line else ""
