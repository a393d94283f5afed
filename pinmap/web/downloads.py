"""Files to the browser."""

from __future__ import annotations

from urllib.parse import quote

from fastapi.responses import Response

from pinmap.services.outputs import Output


def download(made: Output) -> Response:
    """An attachment. Should a browser open it all the same, its content may run and load nothing."""
    return Response(made.data, media_type=made.media_type, headers=attachment(made.filename))


def attachment(filename: str) -> dict[str, str]:
    """Headers of a file to keep; its name must be safe already."""
    return {
        "content-disposition": f"attachment; filename=\"{filename}\"; filename*=UTF-8''{quote(filename)}",
        "cache-control": "no-store",
        "content-security-policy": "default-src 'none'; sandbox",
    }
