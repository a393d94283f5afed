"""``pinmap serve``, and ``pinmap`` alone."""

from __future__ import annotations

import gc
import sys
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

    from pinmap.web.app import create_app

    changes = {k: v for k, v in (("host", host), ("port", port)) if v is not None}
    settings = Settings().model_copy(update=changes)
    if settings.sqlite_file is not None:
        settings.sqlite_file.parent.mkdir(parents=True, exist_ok=True)
    web = create_app(settings, later=True)
    address = f"http://{settings.host}:{settings.port}"
    print(f'{{"address": "{address}"}}' if json else f"Pinmap is at {address}   (Ctrl+C stops it)", flush=True)
    if settings.host not in {"127.0.0.1", "localhost", "::1"}:
        print("pinmap: anybody who reaches this address can read and change everything", file=sys.stderr)
    gc.enable()
    gc.freeze()  # what the start made stays; the collector need not look at it again
    uvicorn.run(web, host=settings.host, port=settings.port, log_level="warning")
