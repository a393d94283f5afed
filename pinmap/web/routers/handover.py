"""Hand over: releases, links for customers, and what their readers ask."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.errors import InputError
from pinmap.core.model.people import Right
from pinmap.services import bench, questions, revisions, sharing
from pinmap.services.sharing import PART_WORDS, USUAL, Part
from pinmap.services.shop import Shop
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import MOST, Version, back_to
from pinmap.web.job_pages import job_page, open_job

router = APIRouter(prefix="/jobs/{key}/handover")


def _page(request: Request, shop: Shop, key: str, variant: str = "", new_link: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    lines = revisions.list_revisions(shop, key)
    looms = bench.summaries(shop, opened.snapshot, opened.view.dictionary)
    return job_page(
        request,
        "handover/job.html",
        opened,
        "handover",
        revisions=lines,
        kept=revisions.kept_drafts(shop, key),
        lineage=revisions.lineage(shop, key),
        links=sharing.list_links(shop, key),
        variant_labels={v.key: opened.snapshot.variant_label(v) for v in opened.snapshot.variants},
        questions=questions.of_job(shop, key),
        blocks=revisions.blocks(opened.view),
        next_letter=revisions.next_letter([r.letter for r in lines]),
        revision_options=[(r.letter, f"{r.letter}, {r.created:%Y-%m-%d}") for r in reversed(lines)],
        parts=[(part.value, words, part in USUAL) for part, words in PART_WORDS.items()],
        new_link=new_link,
        looms=looms,
        records=[
            (f"={s}", f"loom with serial number {s}" if s else "loom without serial number")
            for s in dict.fromkeys(x.serial for x in looms)
        ],
    )


@router.get("")
@needs(Right.READ)
def show(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    return _page(request, shop, key, variant)


@router.post("/release")
@needs(Right.BUILD)
def release(
    shop: ShopDep,
    key: str,
    version: Version,
    note: Annotated[str, Form()] = "",
) -> Response:
    line = revisions.release(shop, key, version, shop.actor.name, note)
    return back_to(f"/jobs/{key}/handover", f"Revision {line.letter} is released")


@router.post("/share")
@needs(Right.BUILD)
def share(
    request: Request,
    shop: ShopDep,
    key: str,
    revision: Annotated[str, Form()],
    variant: Annotated[str, Form()] = "",
    label: Annotated[str, Form()] = "",
    includes: Annotated[list[str] | None, Form()] = None,
    days: Annotated[int, Form(ge=-MOST, le=MOST)] = 30,
    passphrase: Annotated[str, Form()] = "",
    record: Annotated[str, Form()] = "",
) -> HTMLResponse:
    """Answers with the page itself: an address with the token in it would end up in histories and logs. ``record`` is
    "=" and the serial number of the loom whose test record goes along."""
    if unknown := set(includes or ()) - {part.value for part in Part}:
        raise InputError("includes", sorted(unknown)[0][:80], "tick from the list")
    if record and not record.startswith("="):
        raise InputError("record", record[:80], "choose from the list")
    parts = [Part(name) for name in includes or ()]
    token = sharing.create_link(
        shop,
        key,
        revision,
        variant,
        days=days,
        label=label,
        passphrase=passphrase,
        includes=parts,
        record_serial=record[1:] if record.startswith("=") else None,
    )
    return _page(request, shop, key, new_link=str(request.url_for("shared", token=token)))


@router.post("/revoke")
@needs(Right.BUILD)
def revoke(shop: ShopDep, key: str, link: Annotated[int, Form(ge=0, le=MOST)]) -> Response:
    sharing.revoke(shop, key, link)
    return back_to(f"/jobs/{key}/handover", "The link opens nothing any more")


@router.post("/answer")
@needs(Right.BUILD)
def answer(
    shop: ShopDep,
    key: str,
    version: Version,
    question: Annotated[int, Form(ge=0, le=MOST)],
    answer: Annotated[str, Form()] = "",
) -> Response:
    questions.answer(shop, key, question, version, answer)
    said = "The reader of the link sees the answer" if answer.strip() else "Set aside without an answer"
    return back_to(f"/jobs/{key}/handover#questions", said)
