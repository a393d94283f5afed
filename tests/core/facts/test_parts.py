"""Terminals, fuses, coverings, generic housings."""

import pytest

from pinmap.core.errors import InputError, TableGap
from pinmap.core.facts.parts import (
    bay_cavities,
    coverings,
    fuse_derating,
    fuses,
    grid_cavities,
    grid_housing,
    housings,
    mate_of,
    terminals,
)
from pinmap.core.model.words import Gender


@pytest.mark.parametrize(
    ("key", "amperes"),
    [("size-20", 7.5), ("size-16", 13), ("blade-0.64", 3), ("blade-1.0", 6), ("blade-1.2", 8), ("blade-1.5", 10),
     ("blade-2.8", 20), ("blade-4.8", 35), ("blade-6.3", 50), ("blade-9.5", 70)],
)  # fmt: skip
def test_currents_of_the_trade(key: str, amperes: float) -> None:
    assert terminals()[key].max_a == amperes
    assert 22 <= terminals()["size-12"].max_a <= 25


def test_terminals_are_physical() -> None:
    for t in terminals().values():
        assert 0.1 <= t.min_mm2 < t.max_mm2 <= 95, t.key
        assert 0 < t.contact_ohm <= 0.01, t.key
        assert t.sealed is (t.min_od_mm is not None) is (t.max_od_mm is not None), t.key
        if t.min_od_mm is not None and t.max_od_mm is not None:
            assert t.min_od_mm < t.max_od_mm, t.key
        # a joint at its full current loses a few watts at most
        assert t.max_a**2 * t.contact_ohm < 6, t.key
    blades = [t for t in terminals().values() if t.form == "blade" and not t.sealed]
    assert [t.max_a for t in blades] == sorted(t.max_a for t in blades)
    assert [t.contact_ohm for t in blades] == sorted((t.contact_ohm for t in blades), reverse=True)


def test_seal_ranges_of_size_16_are_the_published_ones() -> None:
    assert (terminals()["size-16"].min_od_mm, terminals()["size-16"].max_od_mm) == (2.18, 3.67)
    assert (terminals()["size-16-reduced"].min_od_mm, terminals()["size-16-reduced"].max_od_mm) == (1.30, 2.54)


@pytest.mark.parametrize(
    ("rated_a", "colour"),
    [(1, "black"), (2, "grey"), (3, "violet"), (4, "pink"), (5, "tan"), (7.5, "brown"), (10, "red"), (15, "blue"),
     (20, "yellow"), (25, "natural"), (30, "green"), (35, "blue-green"), (40, "orange")],
)  # fmt: skip
def test_blade_fuse_colours_of_iso_8820_3(rated_a: float, colour: str) -> None:
    assert fuses()["C"].colour(rated_a) == colour


def test_ratings_by_size_of_iso_8820_3() -> None:
    ends = {key: (fuses()[key].ratings_a[0], fuses()[key].ratings_a[-1]) for key in ("F", "C", "E")}
    assert ends == {"F": (2, 30), "C": (1, 40), "E": (20, 80)}
    assert all(list(f.ratings_a) == sorted(set(f.ratings_a)) for f in fuses().values())
    with pytest.raises(TableGap):
        fuses()["F"].colour(40)


def test_time_limits_of_blade_fuses() -> None:
    """ISO 8820-3: 110 % not within 100 h, 135 % between 0.75 and 600 s; never slower at more current."""
    blade = {g.multiple: (g.min_s, g.max_s) for g in fuses()["C"].gates}
    assert blade[1.1] == (100 * 3600, None)
    assert blade[1.35] == (0.75, 600)
    assert blade[6] == (0.02, 0.1)
    for fuse in fuses().values():
        for slow, fast in zip(fuse.gates, fuse.gates[1:], strict=False):
            assert slow.multiple < fast.multiple
            assert slow.min_s > fast.min_s
            assert slow.max_s is None or (fast.max_s is not None and slow.max_s > fast.max_s)
            assert fast.max_s is not None
            assert fast.min_s < fast.max_s


def test_continuous_load_is_75_per_cent_at_25_c() -> None:
    assert fuses()["C"].smallest_for(7.5) == 10
    assert fuses()["C"].smallest_for(7.6) == 15
    assert fuses()["C"].smallest_for(7.5, 85) == 15  # 10 A x 0.75 x 0.9 = 6.75 A
    assert fuses()["F"].smallest_for(40) is None
    assert fuse_derating(-20) == fuse_derating(25) == 1
    assert fuse_derating(60) == pytest.approx(0.95)
    assert fuse_derating(72.5) == pytest.approx(0.925)
    assert fuse_derating(110) < 0.9


def test_coverings_are_physical() -> None:
    assert {c.form for c in coverings().values()} == {"none", "tape", "braid", "sleeve", "tube", "conduit"}
    for c in coverings().values():
        assert 85 <= c.max_temp_c <= 260, c.key
        assert 0 <= c.wall_mm <= 4, c.key
        assert c.min_bundle_mm < c.max_bundle_mm, c.key


def test_generic_housings() -> None:
    assert len(housings()) >= 200
    for key, h in housings().items():
        assert key == h.key
        assert h.terminal in terminals(), key
        assert len(set(h.cavity_names)) == len(h.cavities) >= 1, key
        assert len({(c.column, c.row) for c in h.cavities}) == len(h.cavities), key
        assert h.sealed is terminals()[h.terminal].sealed, key
        other = housings()[key.replace("-pin", "-socket") if key.endswith("-pin") else key.replace("-socket", "-pin")]
        assert other.family == h.family
        assert {other.gender, h.gender} == {Gender.PIN, Gender.SOCKET}
    sizes = {len(h.cavities) for h in housings().values()}
    assert {1, 2, 3, 4, 6, 8, 12, 24, 40, 64, 80, 90, 120} <= sizes
    assert {len({c.row for c in h.cavities}) for h in housings().values()} >= {1, 2, 3, 4}


def test_halves_lie_on_each_other_face_to_face() -> None:
    """Seen from its own mating side each half is the other's mirror image."""
    pin, socket = housings()["open-1.5-3x2-pin"], housings()["open-1.5-3x2-socket"]
    assert [(c.name, c.column, c.row) for c in pin.cavities][:4] == [("1", 0, 0), ("2", 1, 0), ("3", 2, 0), ("4", 0, 1)]
    for a, b in zip(pin.cavities, socket.cavities, strict=True):
        assert (a.name, a.row) == (b.name, b.row)
        assert a.column + b.column == 2
    assert mate_of(mate_of(pin, "x", "x"), pin.key, pin.name) == pin


def test_a_grid_of_any_size() -> None:
    lettered = grid_housing("u", "mine", columns=3, rows=2, names=["A", "B", "C", "D", "E"], order="columns")
    assert [(c.name, c.column, c.row) for c in lettered.cavities] == [
        ("A", 0, 0), ("B", 0, 1), ("C", 1, 0), ("D", 1, 1), ("E", 2, 0),
    ]  # fmt: skip
    assert grid_housing("u", "mine", columns=1, rows=1).cavity_names == ("1",)


@pytest.mark.parametrize(
    ("field", "call"),
    [
        ("size", lambda: grid_cavities(0, 2)),
        ("size", lambda: grid_cavities(10**9, 10**9)),
        ("names", lambda: grid_cavities(1, 1, names=["A", "B"])),
        ("names", lambda: grid_cavities(2, 1, names=["A", "A"])),
        ("order", lambda: grid_cavities(2, 1, order="spiral")),
        ("bays", lambda: bay_cavities("3 by 2")),
        ("bays", lambda: bay_cavities("")),
    ],
)
def test_impossible_grids_say_which_field(field: str, call: object) -> None:
    with pytest.raises(InputError) as caught:
        call()  # type: ignore[operator]  # a lambda of the table above
    assert caught.value.field == field


def test_bays_stand_side_by_side() -> None:
    lettered = bay_cavities("A:2x1+B:2x1")
    assert [(c.name, c.column) for c in lettered] == [("A1", 0), ("A2", 1), ("B1", 3), ("B2", 4)]
    assert [c.name for c in bay_cavities("2x1+2x1")] == ["1", "2", "3", "4"]
