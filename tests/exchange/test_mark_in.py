"""A mark is drawn anew: whatever else a picture's file holds never reaches a reader."""

from __future__ import annotations

import io
import struct
import zlib

import pytest
from PIL import Image, PngImagePlugin

from pinmap.core.errors import InputError
from pinmap.exchange.mark_in import HEIGHT, MAX_BYTES, WIDTH, mark_png


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)  # type: ignore[arg-type]
    return out.getvalue()


def test_pictures_become_a_small_png_without_anything_else() -> None:
    notes = PngImagePlugin.PngInfo()
    notes.add_text("comment", "<script>secret</script>")
    source = saved(Image.new("RGBA", (1600, 400), (255, 0, 0, 128)), "PNG", pnginfo=notes) + b"<script>tail</script>"
    made = mark_png(source)
    assert b"script" not in made
    with Image.open(io.BytesIO(made), formats=("PNG",)) as drawn:
        assert drawn.width <= WIDTH
        assert drawn.height <= HEIGHT
        assert drawn.mode == "RGBA", "what is clear stays clear"
        assert drawn.getpixel((5, 5)) == (255, 0, 0, 128)
        assert not drawn.info
    exif = Image.Exif()
    exif[0x010E] = "where it was taken"
    jpeg = mark_png(saved(Image.new("RGB", (300, 90), "blue"), "JPEG", exif=exif))
    assert b"taken" not in jpeg
    assert mark_png(saved(Image.new("P", (30, 9)), "PNG")).startswith(b"\x89PNG")
    assert mark_png(saved(Image.new("I;16", (30, 9)), "PNG")).startswith(b"\x89PNG")


def _huge() -> bytes:
    """A small file that says of itself to be very large."""
    head = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"no picture",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>",
        b"\xef\xbb\xbf <?xml version='1.0'?><svg/>",
        b"<!DOCTYPE svg>",
        b"GIF89a\x01\x00\x01\x00\x00\x00\x00;",
        b"\x89PNG\r\n\x1a\n",
        saved(Image.new("RGB", (50, 50)), "PNG")[:-30],
        saved(Image.new("RGB", (50, 50)), "BMP"),
        b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n",
        _huge(),
        b"\xff\xd8\xff" + b"\x00" * 100,
        b"x" * (MAX_BYTES + 1),
    ],
    ids=[
        "empty",
        "text",
        "svg",
        "xml",
        "doctype",
        "gif",
        "head only",
        "cut short",
        "bmp",
        "eps",
        "huge",
        "jpeg",
        "long",
    ],
)
def test_what_is_no_good_picture_is_refused_in_words(data: bytes) -> None:
    with pytest.raises(InputError) as caught:
        mark_png(data)
    assert caught.value.field == "mark"
    assert caught.value.remedy
