"""The board plan as PDF at 1:1: sheets that overlap, each with its number, its neighbours and a bar to be measured."""

from __future__ import annotations

from collections.abc import Sequence

from pinmap.core.loom.board import BAR_MM, MARGIN_MM, OVERLAP_MM, Board, Tiling
from pinmap.exchange.typesetting import TitleBlock, block_timestamp, print_fonts, printable, typeset

_HINT = f"Print at 100 %, never fitted to the page. Measure both bars: {BAR_MM:g} mm each, or the sheet is no use."
_WAYS = (
    "Print one sheet at 100 % (actual size) and measure both bars on it before you print the rest.",
    "Cut a sheet along the dashed line on one side, lay it on the dashed line of its neighbour, crosses on crosses.",
    "Measure the longest run across the joined sheets before you lay a wire.",
)


def board_pdf(board: Board, tiling: Tiling, windows: Sequence[str], index: str, block: TitleBlock) -> bytes:
    """The sheets of ``tiling``; ``windows`` are their drawings, ``index`` the drawing of all. Raises DrawingFailed."""
    data = {
        "title": printable(f"{board.title}: {block.job}, {block.revision_words} {block.content_hash[:12]}"),
        "facts": printable(board.facts),
        "hint": _HINT,
        "ways": _WAYS,
        "width": tiling.paper.width_mm,
        "height": tiling.paper.height_mm,
        "window": tiling.window_mm,
        "size": (board.width_mm, board.height_mm),
        "margin": MARGIN_MM,
        "overlap": OVERLAP_MM,
        "bar": BAR_MM,
        "index": print_fonts(index) if len(tiling.tiles) > 1 else None,
        "sheets": [
            {
                "svg": print_fonts(svg), "number": t.number, "row": t.row, "column": t.column, "x": t.x_mm,
                "y": t.y_mm, "left": t.left, "right": t.right, "above": t.above, "below": t.below,
            }
            for t, svg in zip(tiling.tiles, windows, strict=True)
        ],
    }  # fmt: skip
    return typeset("board.typ", data, tags=False, timestamp=block_timestamp(block))
