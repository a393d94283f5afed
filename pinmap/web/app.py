"""The app factory."""

from __future__ import annotations

import pkgutil
from importlib import import_module

from fastapi import APIRouter, FastAPI
from fastapi.staticfiles import StaticFiles

from pinmap import __version__
from pinmap.resources import resource_dir
from pinmap.services.shop import Shop, open_shop
from pinmap.settings import Settings
from pinmap.web import errors, routers
from pinmap.web.guard import Guard


def create_app(settings: Settings, shop: Shop | None = None) -> FastAPI:
    """An app for one shop. Opens the database and brings its tables up to date unless given an open shop."""
    app = FastAPI(title="Pinmap", version=__version__, docs_url=None, redoc_url=None)
    app.state.shop = shop or open_shop(settings)
    app.state.settings = settings
    for module in sorted(m.name for m in pkgutil.iter_modules(routers.__path__)):
        router = import_module(f"{routers.__name__}.{module}").router
        assert isinstance(router, APIRouter)
        app.include_router(router)
    app.mount("/static", StaticFiles(directory=resource_dir("static")), name="static")
    errors.install(app)
    app.add_middleware(
        Guard,
        trusted_hosts=frozenset(settings.trusted_hosts.split(",")),
        upload_limit_bytes=settings.upload_limit_mb << 20,
    )
    return app
