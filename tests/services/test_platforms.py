"""Platforms through the services."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.crossing import edits
from pinmap.core.errors import Conflict, InputError, NotFound, StructureError
from pinmap.core.facts.shelf import shelf
from pinmap.core.model.pinouts import Connector, Edition, Pin, PinKey
from pinmap.core.model.words import Fate, Role
from pinmap.services import jobs, platforms
from pinmap.services.shop import Shop
from tests.factories_store import platform, seats


def test_made_step_by_step(shop: Shop) -> None:
    view = platforms.create(shop, name="Brindle 6", role=Role.HOST)
    assert view.platform.key == "brindle-6"
    view = platforms.add_edition(shop, "brindle-6", view.version, Edition(key="", name="Late 2002"))
    view = platforms.add_connector(shop, "brindle-6", view.version, Connector(name="C101", editions=("late-2002",)))
    pin = Pin(connector="C101", cavity="A10", function="Gauge", editions=("late-2002",))
    view = platforms.add_pin(shop, "brindle-6", view.version, pin)
    assert view.version == 4
    assert platforms.get(shop, "brindle-6").platform == view.platform
    (line,) = platforms.list_platforms(shop)
    assert (line.connectors, line.pins, line.editions) == (1, 1, 1)
    with pytest.raises(StructureError, match="connector C101, pin C101-A10"):
        platforms.delete_edition(shop, "brindle-6", 4, "late-2002")


@pytest.mark.parametrize(
    "act",
    [
        lambda s: platforms.rename(s, "host", 7, "x"),
        lambda s: platforms.add_pin(s, "host", 7, Pin(connector="X1", cavity="99")),
        lambda s: platforms.delete_connector(s, "host", 7, "X1"),
        lambda s: platforms.delete(s, "host", 7),
    ],
)
def test_every_change_minds_the_version(shop: Shop, act: object) -> None:
    platforms._add(shop, platform("host", Role.HOST))
    before = platforms.get(shop, "host")
    with pytest.raises(Conflict):
        act(shop)  # type: ignore[operator]  # one of the functions above
    assert platforms.get(shop, "host") == before


def test_renamed_pin_and_connector_stay_joined(shop: Shop) -> None:
    a, b = platform("donor", Role.DONOR), platform("host", Role.HOST)
    for p in (a, b):
        platforms._add(shop, p)
    view = jobs.create_job(shop, "j", "Job", seats(a, b))
    ends = [PinKey("donor", "X1", "1"), PinKey("host", "X1", "1")]
    view = jobs.edit(shop, "j", view.version, lambda j, _: edits.join(j, ends, name="S"))  # type: ignore[arg-type]
    moved = replace(b.pins[0], cavity="A7")
    host = platforms.update_pin(shop, "host", 1, ends[1], moved)
    host = platforms.update_connector(shop, "host", host.version, "X1", new_name="C1")
    members = jobs.get(shop, "j").job.signals[0].members
    assert [str(m.end) for m in members] == ["donor:X1-1", "host:C1-A7"]
    with pytest.raises(StructureError, match="signal 'S' of job 'Job'"):
        platforms.delete_pin(shop, "host", host.version, PinKey("host", "C1", "A7"))
    with pytest.raises(StructureError, match="signal 'S'"):
        platforms.delete_connector(shop, "host", host.version, "C1")
    host = platforms.delete_pin(shop, "host", host.version, PinKey("host", "C1", "3"))
    assert len(host.platform.pins) == 3
    jobs.edit(shop, "j", 2, lambda j, _: edits.set_fate(j, PinKey("host", "C1", "4"), Fate.PARKED, "spare"))
    with pytest.raises(StructureError, match="parked in job 'Job'"):
        platforms.delete_pin(shop, "host", host.version, PinKey("host", "C1", "4"))
    with pytest.raises(StructureError, match="'Job'"):
        platforms.delete(shop, "host", host.version)
    jobs.delete(shop, "j", 3)
    platforms.delete(shop, "host", host.version)
    with pytest.raises(NotFound):
        platforms.get(shop, "host")


def test_bad_input_names_the_field(shop: Shop) -> None:
    platforms._add(shop, platform("host", Role.HOST))
    with pytest.raises(InputError, match="cavity"):
        platforms.add_pin(shop, "host", 1, Pin(connector="X1", cavity="1"))
    with pytest.raises(InputError, match="current_a"):
        platforms.add_pin(shop, "host", 1, Pin(connector="X1", cavity="9", current_a=-1.0))
    with pytest.raises(InputError, match="edition"):
        platforms.add_pin(shop, "host", 1, Pin(connector="X1", cavity="9", editions=("never",)))
    with pytest.raises(InputError, match="name"):
        platforms.update_connector(shop, "host", 1, "X1", new_name=" ")
    with pytest.raises(InputError, match="nominal_v"):
        platforms.create(shop, name="x", role=Role.HOST, nominal_v=0)
    with pytest.raises(NotFound):
        platforms.get(shop, "nul\x00")
    assert platforms.get(shop, "host").version == 1


def test_every_shelf_entry_can_be_taken(shop: Shop) -> None:
    assert platforms.shelf_entries() == tuple(shelf())
    for entry in shelf():
        view = platforms.from_shelf(shop, entry.key)
        assert view.platform.pins == entry.platform.pins
        assert view.platform.source
    with pytest.raises(NotFound):
        platforms.from_shelf(shop, "none")


def test_copy(shop: Shop) -> None:
    platforms._add(shop, platform("host", Role.HOST))
    copied = platforms.copy(shop, "host", "", "Host two")
    assert copied.platform.key == "host-two"
    assert copied.platform.pins == platforms.get(shop, "host").platform.pins
