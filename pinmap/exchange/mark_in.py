"""A shop's mark out of an uploaded picture: drawn anew as PNG, so that nothing of the file itself is ever shown."""

from __future__ import annotations

import io

from pinmap.core.errors import InputError

MAX_BYTES = 2 << 20
MAX_PIXELS = 16_000_000
WIDTH, HEIGHT = 640, 200  # twice what a page shows, for sharp screens and print
_KINDS = ("PNG", "JPEG")


def mark_png(data: bytes) -> bytes:
    """The picture within WIDTH by HEIGHT pixels, without whatever else the file holds. Raises InputError."""
    if len(data) > MAX_BYTES:
        raise InputError("mark", f"{len(data)} bytes", f"give a picture of {MAX_BYTES >> 20} MB at most")
    head = data[:512].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if head.startswith((b"<svg", b"<?xml", b"<!doctype")):
        raise InputError("mark", "SVG", "an SVG can hold scripts; give the mark as PNG or JPEG")
    # imported where it is used: few starts need it
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(io.BytesIO(data), formats=_KINDS) as picture:
            if picture.width * picture.height > MAX_PIXELS:
                raise InputError(
                    "mark", f"{picture.width} x {picture.height}", f"give {MAX_PIXELS // 10**6} million pixels at most"
                )
            upright = ImageOps.exif_transpose(picture)
            upright.thumbnail((WIDTH, HEIGHT))
            clear = upright.mode in ("LA", "PA", "RGBA") or "transparency" in upright.info
            drawn = upright.convert("RGBA" if clear else "RGB")
    except Image.DecompressionBombError as error:
        raise InputError("mark", "", f"give {MAX_PIXELS // 10**6} million pixels at most") from error
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
        raise InputError("mark", "", f"this is no PNG or JPEG that can be read ({type(error).__name__})") from error
    out = io.BytesIO()
    Image.frombytes(drawn.mode, drawn.size, drawn.tobytes()).save(out, "PNG", optimize=True)
    return out.getvalue()
