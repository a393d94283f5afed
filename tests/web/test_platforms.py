"""Platforms, their editions and connectors."""

from __future__ import annotations

import pytest

from pinmap.core.errors import NotFound
from pinmap.core.model.pinouts import Platform
from pinmap.services import jobs, platforms
from tests.factories_web import Visitor

RIG = "/platforms/rig"


def _rig(visitor: Visitor) -> Platform:
    return platforms.get(visitor.shop, "rig").platform


def test_a_platform_is_made_with_its_editions(bench: Visitor) -> None:
    bench.open("/platforms").follow("New platform")
    bench.sent(
        "/platforms/new", {"name": "Mule 3", "role": "host", "nominal_v": "24", "editions": "early: 1998-2001\nlate"}
    )
    assert bench.at.startswith("/platforms/mule-3/import")
    made = platforms.get(bench.shop, "mule-3").platform
    assert (made.nominal_v, [(e.key, e.from_year, e.to_year) for e in made.editions]) == (
        24.0,
        [("early", 1998, 2001), ("late", None, None)],
    )


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [
        ({"name": " "}, "give it a name"),
        ({"name": "Mule", "editions": "early: last century"}, "write one a line, such as late: 2002-2006"),
        ({"name": "Mule", "editions": "a\na"}, "a key of its own"),
    ],
)
def test_a_bad_platform_is_refused_and_stays_typed(bench: Visitor, typed: dict[str, str], remedy: str) -> None:
    bench.open("/platforms/new").send("/platforms/new", typed | {"role": "host"}).refused(remedy)
    again = bench.form("/platforms/new").values()
    assert again["role"] == ["host"]
    assert {k: again[k] for k in typed} == {k: [v] for k, v in typed.items()}
    assert len(platforms.list_platforms(bench.shop)) == 3


def test_editions_and_connectors_are_added(bench: Visitor) -> None:
    bench.open(RIG).sent(f"{RIG}/editions", {"key": "us", "from_year": "2001", "to_year": "2004", "market": "US"})
    bench.sent(f"{RIG}/connectors", {"name": "X#1/a b", "description": "odd name", "editions": "us"})
    rig = _rig(bench)
    assert (rig.editions[0].key, rig.editions[0].to_year) == ("us", 2004)
    assert rig.connectors[-1].editions == ("us",)
    assert "odd name" in bench.follow("X#1/a b").text


@pytest.mark.parametrize(
    ("action", "typed", "remedy"),
    [
        ("editions", {"key": "us", "from_year": "1066"}, "at least 1900"),
        ("editions", {"key": " "}, "give it a name"),
        ("connectors", {"name": "C1"}, "the platform has such a connector"),
        ("connectors", {"name": "C5", "housing": "box"}, "choose one from the list"),
        ("connectors", {"name": "C5", "editions": "nineties"}, "nineties"),
    ],
)
def test_bad_parts_are_refused_and_stay_typed(bench: Visitor, action: str, typed: dict[str, str], remedy: str) -> None:
    before = _rig(bench)
    bench.open(RIG).send(f"{RIG}/{action}", typed).refused(remedy)
    form = bench.form(f"{RIG}/{action}")
    assert {k: form.values()[k] for k in typed} == {k: [v] for k, v in typed.items()}
    assert form.tag.find_parent("details").has_attr("open")  # type: ignore[union-attr]  # it stands in one
    assert _rig(bench) == before


def test_a_renamed_connector_takes_its_pins_and_the_jobs_along(bench: Visitor) -> None:
    page = f"{RIG}/connectors/C1"
    bench.open(page).sent(page, {"new_name": "X7", "gender": "pin", "place": "left"})
    assert {p.connector for p in _rig(bench).pins} == {"X7"}
    ends = [str(m.end) for m in jobs.get(bench.shop, "bench").snapshot.signal["s001"].members]
    assert ends == ["rig:X7-1", "cart:C1-1"]
    bench.open(page, status=404)


def test_what_is_used_is_not_deleted_and_what_is_not_is(bench: Visitor) -> None:
    page = f"{RIG}/connectors/C1"
    bench.open(page).send(page, press="deed=delete").refused("is used by", "take it out there first")
    assert "Delete the platform" not in bench.open(RIG).text
    version = str(platforms.get(bench.shop, "rig").version)
    bench.post(f"{RIG}/delete", {"version": version}).refused("is used by 'Bench'")
    bench.open("/platforms/lone").sent("/platforms/lone/delete")
    with pytest.raises(NotFound):
        platforms.get(bench.shop, "lone")


def test_pinouts_come_out_as_files(bench: Visitor) -> None:
    answer = bench.client.get(f"{RIG}/export.csv")
    assert "Crank sensor signal" in answer.text
    assert bench.client.get(f"{RIG}/export.xlsx").content.startswith(b"PK")
