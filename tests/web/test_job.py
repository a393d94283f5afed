"""One job: overview, gathering, settings, seats, copy, delete, undo."""

from __future__ import annotations

import pytest

from pinmap.core.errors import NotFound
from pinmap.core.model.jobs import Pick
from pinmap.services import jobs
from tests.factories_web import DONE, JOB, Visitor


def test_overview_leads_to_what_is_next(bench: Visitor) -> None:
    bench.open(JOB)
    assert "4 undecided" in bench.text
    bench.follow("Go there")
    assert bench.at.startswith(f"{JOB}/decide")


def test_gather_counts_evidence_by_side(bench: Visitor) -> None:
    rows = bench.open(f"{JOB}/gather").page.select("tbody tr")
    assert [r.th.get_text() for r in rows] == ["Rig", "Cart"]
    assert rows[0].select("td.num")[0].get_text() == "5"


def test_settings_are_saved_whole(bench: Visitor) -> None:
    action = f"{JOB}/settings"
    bench.open(action).sent(action, {"name": "Other", "strip_mm": "7,5", "stock_mm2": "0.5 0.75 1", "units": "awg"})
    assert bench.notice() == "Saved"
    job = jobs.get(bench.shop, "bench").job
    assert (job.name, job.practice.strip_m, job.practice.stock_mm2) == ("Other", 0.0075, (0.5, 0.75, 1.0))
    assert bench.form(action).values()["units"] == ["awg"]


def test_a_form_that_is_saved_as_it_came_changes_nothing(bench: Visitor) -> None:
    """Fields show every digit that is stored."""
    before = jobs.get(bench.shop, "bench").job
    for script in (True, False):
        bench.script = script
        bench.open(f"{JOB}/settings").sent(f"{JOB}/settings")
        bench.open(f"{JOB}/decide/signals/s002").sent(f"{JOB}/decide/signals/s002")
        bench.open(f"{JOB}/layout").sent(f"{JOB}/layout/segments/r1")
    assert jobs.get(bench.shop, "bench").job == before


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [
        ({"name": " "}, "name"),
        ({"strip_mm": "short"}, "type a plain number, such as 0.75"),
        ({"cut_step_mm": "0"}, "above 0"),
        ({"min_mm2": "-1"}, "at least 0"),
        ({"cut_step_mm": ""}, "a number is needed here"),
        ({"stock_mm2": "0.5 wide"}, "type a plain number"),
    ],
)
def test_bad_settings_name_the_field_and_stay_typed(bench: Visitor, typed: dict[str, str], remedy: str) -> None:
    action = f"{JOB}/settings"
    before = jobs.get(bench.shop, "bench").job
    bench.open(action).send(action, typed | {"note": "typed too"}).refused(remedy)
    again = bench.form(action)
    assert {name: again.values()[name] for name in typed} == {name: [value] for name, value in typed.items()}
    assert again.values()["note"] == ["typed too"]
    name = next(iter(typed))
    assert again.tag.select_one(f'[name="{name}"]')["aria-invalid"] == "true", "the field is not marked"  # type: ignore[index]  # it is there
    assert jobs.get(bench.shop, "bench").job == before


def test_a_pick_more_makes_a_variant(bench: Visitor) -> None:
    page = f"{JOB}/settings"
    bench.open(page).sent(f"{JOB}/seats", {"pick": "lone|"}, press="deed=add", hidden={"seat": "host"})
    assert jobs.get(bench.shop, "bench").job.seats[1].picks == (Pick("cart", "late"), Pick("lone"))
    bench.sent(f"{JOB}/seats", press="deed=remove", hidden={"seat": "host", "pick": "lone|"})
    assert len(jobs.get(bench.shop, "bench").snapshot.variants) == 1
    bench.send(f"{JOB}/seats", {"pick": "rig|"}, press="deed=add", hidden={"seat": "donor"}).refused("rig")


def test_copy_delete_and_what_stands_against_it(bench: Visitor) -> None:
    bench.open(f"{JOB}/settings").sent(f"{JOB}/copy", {"name": "Twin"})
    assert jobs.get(bench.shop, "twin").job.signals == jobs.get(bench.shop, "bench").job.signals
    bench.open("/jobs/twin/settings").sent("/jobs/twin/delete")
    assert "its platforms stay" in bench.notice()
    with pytest.raises(NotFound):
        jobs.get(bench.shop, "twin")
    bench.open(f"{DONE}/settings").send(f"{DONE}/delete").refused("revision", "keep it")


def test_undo_and_redo_stand_on_every_page(bench: Visitor) -> None:
    action = f"{JOB}/settings"
    bench.open(action).sent(action, {"customer": "Ann"})
    bench.open(f"{JOB}/layout").sent(f"{JOB}/undo")
    assert jobs.get(bench.shop, "bench").job.customer == ""
    assert "Taken back: settings changed" in bench.notice()
    bench.sent(f"{JOB}/redo")
    assert jobs.get(bench.shop, "bench").job.customer == "Ann"
