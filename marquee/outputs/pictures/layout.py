"""Where face, labels and tables go on a sheet, by the face's shape."""

from __future__ import annotations

from dataclasses import dataclass

from marquee.outputs.pictures.canvas import View, fit_view
from marquee.outputs.pictures.sheet import HEADING_PX
from marquee.outputs.pictures.style import MARGIN_PX, WIDTH_PX, plain, size_text
from marquee.plan import Plan

ROOM_PX = WIDTH_PX - 2 * MARGIN_PX
# Faces at least this many times as wide as high take the sheet's whole width.
_WIDE = 1.7
# The same without labels round them.
_UPRIGHT = 0.8
_WIDE_MOST_PX = (ROOM_PX, 660)
_SIDE_MOST_PX = (700, 760)
# Height of a row of labels above or below a face, and width of a column of them beside it.
LABEL_ROW_PX = 40
LABEL_COLUMN_PX = 220
# Least width tables need beside a face.
_TABLES_LEAST_PX = 600
_BAR_ROW_PX = 46


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Places on a sheet with one face: the face, its scale bar, and its tables with their width."""

    view: View
    wide: bool
    bar_y: int
    tables_x: int
    tables_y: int
    tables_width_px: int

    @property
    def tables_beside(self) -> bool:
        """Whether the tables stand beside the face, not below it."""
        return self.tables_x > MARGIN_PX

    @property
    def bar_most_px(self) -> float:
        """Longest the scale bar may be."""
        return min(260.0, max(self.view.width_px, 60.0))

    def height_px(self, tables_bottom: int) -> int:
        """Return the sheet's height for tables that end there."""
        return max(tables_bottom, self.bar_y + _BAR_ROW_PX // 2) + MARGIN_PX - 8


def lay_out(
    size_mm: tuple[float, float], *, labels: bool, rows: tuple[bool, bool] = (True, True)
) -> Layout:
    """Return the layout for a face of that size, with or without room for labels round it.

    Round a wide face they stand in `rows` above and below, round others in a column beside.
    """
    aspect = size_mm[0] / size_mm[1]
    wide = aspect >= (_WIDE if labels else _UPRIGHT)
    over, under = (LABEL_ROW_PX if labels and wide and row else 0 for row in rows)
    top = HEADING_PX + over
    view = fit_view(size_mm, _WIDE_MOST_PX if wide else _SIDE_MOST_PX, MARGIN_PX, top)
    bar_y = top + view.height_px + under + _BAR_ROW_PX // 2
    beside_x = MARGIN_PX + view.width_px + 24 + (LABEL_COLUMN_PX if labels else 0)
    beside = not wide and WIDTH_PX - MARGIN_PX - beside_x >= _TABLES_LEAST_PX
    tables_x = beside_x if beside else MARGIN_PX
    return Layout(
        view=view,
        wide=wide,
        bar_y=bar_y,
        tables_x=tables_x,
        tables_y=HEADING_PX if beside else bar_y + _BAR_ROW_PX // 2,
        tables_width_px=WIDTH_PX - MARGIN_PX - tables_x,
    )


def subtitle(plan: Plan, *facts: str) -> str:
    """Return the line under a title: the artwork, its size, and facts."""
    size = size_text(plan.zone_map.width_mm, plan.zone_map.height_mm)
    return "  ·  ".join((plain(plan.artwork.file), size, *facts))
