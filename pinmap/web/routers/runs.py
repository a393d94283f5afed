"""The loom's runs as a list: out, and in with a look first."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import HTMLResponse, Response

from pinmap.core.errors import FileRejected
from pinmap.core.model.people import Right
from pinmap.services import loom_list
from pinmap.services.loom_list import Read
from pinmap.services.outputs import Output
from pinmap.services.shop import Shop
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.downloads import download
from pinmap.web.forms import Version, back_to
from pinmap.web.job_pages import job_page, open_job

router = APIRouter(prefix="/jobs/{key}/layout/list")


@router.get("")
@needs(Right.READ)
def listed(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    return _page(request, shop, key, variant)


@router.get("/files/runs.csv")
@needs(Right.READ)
def csv_file(shop: ShopDep, key: str) -> Response:
    return download(Output("runs.csv", loom_list.as_csv(open_job(shop, key).job), "text/csv; charset=utf-8"))


@router.post("/read")
@needs(Right.BUILD)
def look(
    request: Request,
    shop: ShopDep,
    key: str,
    text: Annotated[str, Form()] = "",
    variant: Annotated[str, Form()] = "",
    file: Annotated[UploadFile | None, File()] = None,
) -> HTMLResponse:
    """What would become of each line; nothing is stored."""
    if file is not None and file.filename:
        text = loom_list.text_of_file(file.file.read(), file.filename)
    view = open_job(shop, key, variant).view
    try:
        return _page(request, shop, key, variant, loom_list.read(view, text))
    except FileRejected as refused:
        return _page(request, shop, key, variant, Read(text, ()), str(refused), 422)


@router.post("/take")
@needs(Right.BUILD)
def take(
    request: Request,
    shop: ShopDep,
    key: str,
    version: Version,
    text: Annotated[str, Form()],
    variant: Annotated[str, Form()] = "",
) -> Response:
    """Takes the good lines; the others stay in the form."""
    done = loom_list.take(shop, key, version, text)
    words = f"{done.good} of {len(done.lines)} lines taken"
    if done.good == len(done.lines):
        return back_to(f"/jobs/{key}/layout", words, variant=variant)
    problems = tuple(t for t in done.lines if t.problem)
    return _page(
        request, shop, key, variant, Read(done.left, problems), f"{words}; the others stand here for correction"
    )


def _page(
    request: Request, shop: Shop, key: str, variant: str, read: Read | None = None, say: str = "", status: int = 200
) -> HTMLResponse:
    opened = open_job(shop, key, variant)
    return job_page(request, "layout/list.html", opened, "layout", status, read=read, say=say)
