"""``pinmap serve``, and ``pinmap`` alone."""

from __future__ import annotations

import gc
import json as json_lib
from typing import Annotated

import typer

from pinmap.settings import Settings

app = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None)


@app.command()
def serve(
    host: Annotated[str | None, typer.Option(help="Address to listen on; this machine only unless you say so.")] = None,
    port: Annotated[int | None, typer.Option(help="Port to listen on.")] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the address as JSON.")] = False,
) -> None:
    """Start the app; make its database and load the demo at first start."""
    import uvicorn

    from pinmap.services import people
    from pinmap.web.app import create_app

    changes = {k: v for k, v in (("host", host), ("port", port)) if v is not None}
    settings = Settings().model_copy(update=changes)
    settings.check_exposure()
    if settings.sqlite_file is not None:
        settings.sqlite_file.parent.mkdir(parents=True, exist_ok=True)
    web = create_app(settings, later=True)
    token = people.first_link(web.state.shop)
    link = f"{settings.address}/welcome/{token}" if token else ""
    if json:
        print(json_lib.dumps({"address": settings.address} | ({"owner_link": link} if link else {})), flush=True)
    else:
        print(f"Pinmap is at {settings.address}   (Ctrl+C stops it)", flush=True)
        if link:
            print(f"It has no owner yet. Make yourself its owner, once: {link}", flush=True)
    gc.enable()
    gc.freeze()  # what the start made stays; the collector need not look at it again
    gc.set_threshold(700, 10, 100)  # nor so often at what is kept of jobs: each look takes a third of a second
    uvicorn.run(
        web,
        host=settings.host,
        port=settings.port,
        log_level="warning",
        proxy_headers=bool(settings.proxies),
        forwarded_allow_ips=settings.proxies or None,
        ssl_certfile=settings.tls_cert,
        ssl_keyfile=settings.tls_key,
    )
