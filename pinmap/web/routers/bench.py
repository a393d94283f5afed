"""At the bench: one line after the other is checked off; of the draft, and of any revision."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.build.cautions import BUILD_CAUTIONS
from pinmap.core.build.check_off import LineState, entry_words, ohm_words
from pinmap.core.build.ring_out import CAUTION
from pinmap.core.model.bench import Stage, Verdict
from pinmap.core.model.people import Right
from pinmap.services import bench
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.downloads import download
from pinmap.web.forms import back_to, number_or_none, word_of
from pinmap.web.job_pages import OpenedDep, job_page

pages = APIRouter()

_LINES_A_PAGE = 25
_ALL = "all"
_STAGES = {
    Stage.CUT: ("Cut", "By spool, the longest first. Label both ends before you cut."),
    Stage.ENDS: ("Crimp and insert", "Connector by connector. Pull each terminal once, gently, after it has locked."),
    Stage.CONTINUITY: ("Continuity", "Null the leads first. Read between the two points."),
    Stage.ISOLATION: ("Isolation", "At 100 to 500 V DC, against all other nets joined; common practice."),
}


@pages.get("/bench")
@needs(Right.READ)
def show(
    request: Request,
    shop: ShopDep,
    opened: OpenedDep,
    stage: str = Stage.CUT,
    serial: str = "",
    loom: str = "",
    place: str = "",
    show: str = "",
    at: str = "",
    last: str = "",
) -> HTMLResponse:
    """``at`` is the line that the page begins with, ``last`` the one that was checked off just now."""
    chosen = word_of(Stage, "stage", stage)
    sheet = bench.sheet(shop, opened.analysis, serial.strip())
    here = sheet.of(chosen)
    places = list(dict.fromkeys(s.line.place for s in here if s.line is not None))
    loom, place = loom if loom in sheet.by_loom else "", place if place in places else ""
    listed = _listed(here, loom, place, show)
    first = next((i for i, s in enumerate(listed) if s.ref == at), 0)
    units = opened.job.practice.units
    fields = {
        "variant": opened.variant.key,
        "serial": sheet.serial,
        "stage": chosen.value,
        "loom": loom,
        "place": place,
        "show": _ALL if show == _ALL else "",
    }
    return job_page(
        request,
        "bench/page.html",
        opened,
        "bench",
        sheet=sheet,
        stage=chosen,
        stages=[(s, *_STAGES[s], sheet.by_stage[s]) for s in Stage],
        say=_STAGES[chosen][1],
        loom_names={x.key: x.name or x.key for x in opened.job.looms},
        lines=listed[first : first + _LINES_A_PAGE],
        before=listed[max(0, first - _LINES_A_PAGE)].ref if first else "",
        after=listed[first + _LINES_A_PAGE].ref if first + _LINES_A_PAGE < len(listed) else "",
        count=len(listed),
        first=first,
        last=sheet.state(last),
        places=[(p, p) for p in places],
        looms=[(x.key, x.name or x.key) for x in opened.job.looms],
        fields=fields,
        query=urlencode({k: v for k, v in fields.items() if v}),
        shown=bench.shown,
        entry_words=entry_words,
        words=lambda state: dict(state.content_words(units)),
        changes=lambda state: state.changes(units),
        ohms=ohm_words,
        caution=CAUTION,
        cautions=BUILD_CAUTIONS[:3],
        most=bench.MAX_NOTE,
    )


def _listed(here: Sequence[LineState], loom: str, place: str, show: str) -> tuple[LineState, ...]:
    mine = [
        s
        for s in here
        if (not place and not loom)
        or (s.line is not None and place in ("", s.line.place) and loom in ("", s.line.loom))
    ]
    return tuple(mine) if show == _ALL else bench.to_do(mine)


@pages.get("/bench/files/test-record.{kind}")
@needs(Right.READ)
def record(shop: ShopDep, opened: OpenedDep, kind: str, serial: str = "") -> Response:
    sheet = bench.sheet(shop, opened.analysis, serial.strip())
    return download(bench.record(opened.analysis, sheet, kind, opened.release))


@pages.post("/bench")
@needs(Right.BENCH)
def check_off(
    shop: ShopDep,
    opened: OpenedDep,
    line: Annotated[str, Form()],
    as_shown: Annotated[str, Form()],
    verdict: Annotated[str, Form()],
    value: Annotated[str, Form()] = "",
    note: Annotated[str, Form()] = "",
    stage: str = Stage.CUT,
    serial: str = "",
    loom: str = "",
    place: str = "",
    show: str = "",
) -> Response:
    """``as_shown`` says what of the line was shown. Leads on to the line after it on the same list."""
    chosen = word_of(Stage, "stage", stage)
    before = _listed(bench.sheet(shop, opened.analysis, serial.strip()).of(chosen), loom, place, show)
    bench.check_off(
        shop,
        opened.analysis,
        line,
        as_shown=as_shown,
        verdict=word_of(Verdict, "verdict", verdict),
        value=number_or_none("value", value, least=0),
        note=note,
        serial=serial,
    )
    refs = [s.ref for s in before]
    following = refs[refs.index(line) + 1 :] if line in refs else []
    more: dict[str, Any] = {"stage": chosen.value, "serial": serial.strip(), "loom": loom, "place": place, "show": show}
    at = (following or [""])[0]
    return back_to(f"{opened.home}/bench#here", variant=opened.variant.key, **more, at=at, last=line)


router = APIRouter()
router.include_router(pages, prefix="/jobs/{key}")
router.include_router(pages, prefix="/jobs/{key}/revisions/{letter}")
