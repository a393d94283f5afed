"""Files to the browser."""

from __future__ import annotations

from urllib.parse import quote

from fastapi.responses import Response

from pinmap.services.outputs import Output


def download(made: Output) -> Response:
    """An attachment. Should a browser open it all the same, its content may run and load nothing."""
    headers = {
        "content-disposition": f"attachment; filename=\"{made.filename}\"; filename*=UTF-8''{quote(made.filename)}",
        "cache-control": "no-store",
        "content-security-policy": "default-src 'none'; sandbox",
    }
    return Response(made.data, media_type=made.media_type, headers=headers)
