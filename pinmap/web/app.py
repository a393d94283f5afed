"""The app factory."""

from __future__ import annotations

import asyncio
import pkgutil
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib import import_module

from fastapi import APIRouter, Depends, FastAPI
from fastapi.staticfiles import StaticFiles
from starlette.types import Receive, Scope, Send

from pinmap import __version__
from pinmap.resources import resource_dir
from pinmap.services.shop import Shop, open_shop
from pinmap.settings import Settings
from pinmap.web import errors, logs, routers
from pinmap.web.access import Sessions, admit
from pinmap.web.guard import Guard

_FIRST_SCREENS = ("home", "sign_in", "health")  # what a start shows; these must not import what computes
IDLE_S = 0.5


def create_app(settings: Settings, shop: Shop | None = None, *, later: bool = False) -> FastAPI:
    """An app for one shop. Opens the database and brings its tables up to date unless given an open shop.

    With ``later``, the screens that a start does not show are loaded after it, or with the first request for one:
    what computes takes as long to load as everything else together.
    """
    app = FastAPI(
        title="Pinmap",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,  # served by routers/schema.py, to signed-in people
        dependencies=[Depends(admit)],
    )
    app.state.shop = shop or open_shop(settings)
    app.state.settings = settings
    app.mount("/static", StaticFiles(directory=resource_dir("static")), name="static")
    names = sorted(m.name for m in pkgutil.iter_modules(routers.__path__))
    if later:
        _include(app, _FIRST_SCREENS)
        _include_later(app, [n for n in names if n not in _FIRST_SCREENS])
    else:
        _include(app, names)
    errors.install(app)
    logs.install()
    app.add_middleware(Sessions)
    app.add_middleware(
        Guard,
        trusted_hosts=frozenset(settings.trusted_hosts.split(",")),
        upload_limit_bytes=settings.upload_limit_mb << 20,
    )
    return app


def _include(app: FastAPI, names: list[str] | tuple[str, ...]) -> None:
    for name in names:
        router = import_module(f"{routers.__name__}.{name}").router
        assert isinstance(router, APIRouter)
        app.include_router(router)


def _include_later(app: FastAPI, names: list[str]) -> None:
    not_found = app.router.default
    lock = asyncio.Lock()

    async def load() -> None:
        async with lock:
            if names:
                await asyncio.to_thread(lambda: [import_module(f"{routers.__name__}.{name}") for name in names])
                _include(app, names)
                names.clear()

    async def load_and_look_again(scope: Scope, receive: Receive, send: Send) -> None:
        await load()
        app.router.default = not_found
        await app.router(scope, receive, send)

    @asynccontextmanager
    async def load_when_idle(_app: FastAPI) -> AsyncIterator[None]:
        async def wait_and_load() -> None:
            await asyncio.sleep(IDLE_S)
            await load()

        task = asyncio.create_task(wait_and_load())
        yield
        task.cancel()

    app.router.default = load_and_look_again
    app.router.lifespan_context = load_when_idle
