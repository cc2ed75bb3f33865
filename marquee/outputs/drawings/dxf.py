"""A drawing as DXF (R2000, mm): polylines with arcs and text on named layers, y up."""

from __future__ import annotations

import importlib
import io
import logging
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from marquee.outputs.drawings.arcs import arc_path
from marquee.outputs.drawings.drawing import Drawing, Label, Layer

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

# Units code for millimetres (DXF reference, header variable $INSUNITS).
_MILLIMETRES = 4


def dxf_bytes(drawing: Drawing) -> bytes:
    """Return the DXF file; smooth paths as polylines of lines and arcs."""
    _library()
    # numpy's digits as they are: another package of the process may have asked for the short ones of numpy 1.13.
    with _undated(), np.printoptions(legacy=False):
        document = _document(drawing)
        stream = io.StringIO()
        document.write(stream)
    return stream.getvalue().encode(document.output_encoding, errors="dxfreplace")


def _library() -> Any:  # noqa: ANN401 -- a module
    """Import the library, whose list of the system's fonts no drawing of ours needs.

    It says so where it cannot keep that list, and ends where a list was cut short by a run that was killed.
    """
    logging.getLogger("ezdxf").addHandler(logging.NullHandler())
    try:
        return importlib.import_module("ezdxf")
    except (ValueError, LookupError, TypeError):
        for name in [n for n in sys.modules if n.partition(".")[0] == "ezdxf"]:
            del sys.modules[name]
        before = os.environ.get("XDG_CACHE_HOME")
        os.environ["XDG_CACHE_HOME"] = os.devnull
        try:
            return importlib.import_module("ezdxf")
        finally:
            del os.environ["XDG_CACHE_HOME"]
            if before is not None:
                os.environ["XDG_CACHE_HOME"] = before


def _document(drawing: Drawing) -> Document:
    ezdxf = _library()
    from ezdxf.enums import TextEntityAlignment

    align = {
        "start": TextEntityAlignment.LEFT,
        "middle": TextEntityAlignment.CENTER,
        "end": TextEntityAlignment.RIGHT,
    }
    document: Document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = _MILLIMETRES
    document.header["$MEASUREMENT"] = 1
    _add_layers(document, drawing)
    space = document.modelspace()
    for stroke in drawing.strokes:
        points = [(x, -y) for x, y in stroke.points]
        space.add_lwpolyline(
            points,
            close=stroke.closed,
            dxfattribs={
                "layer": stroke.layer.name,
                "linetype": _linetype(stroke.layer.dash_mm),
                **_own_colour(document, stroke.layer),
            },
        )
    for smooth in drawing.smooths:
        space.add_lwpolyline(
            arc_path(smooth.ring), "xyb", close=True, dxfattribs={"layer": smooth.layer.name}
        )
    for label in drawing.labels:
        x, y = label.at
        # Height of DXF text is that of capitals: 0.73 of the type's size in the fonts used elsewhere.
        text = space.add_text(
            _safe(label),
            height=0.73 * label.size_mm,
            rotation=-label.degrees,
            dxfattribs={"layer": label.layer.name},
        )
        text.set_placement((x, -y), align=align[label.anchor])
    return document


def _safe(label: Label) -> str:
    # Two percent signs or a caret begin a code in DXF text.
    return label.text.replace("%%", "% %").replace("^", "ˆ") or " "


def _own_colour(document: Document, layer: Layer) -> dict[str, int]:
    """Return the colour of what differs from its layer: samples of the legend, which are notes."""
    same = document.layers.get(layer.name).color == layer.dxf_colour
    return {} if same else {"color": layer.dxf_colour}


def _linetype(dash_mm: tuple[float, ...]) -> str:
    return "DASHED-MM" if dash_mm else "CONTINUOUS"


def _add_layers(document: Document, drawing: Drawing) -> None:
    document.linetypes.add("DASHED-MM", pattern=[3.0, 2.0, -1.0], description="dashed")
    for layer in drawing.layers:
        if layer.name not in document.layers:
            document.layers.add(layer.name, color=layer.dxf_colour)


@contextmanager
def _undated() -> Iterator[None]:
    """Keep the library from writing dates and random identifiers, which would make equal drawings differ."""
    from ezdxf import options  # type: ignore[attr-defined]  # handed on without saying so

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before
