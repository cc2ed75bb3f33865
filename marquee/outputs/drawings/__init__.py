"""Drawings to cut, score and glue by: 1:1, in mm, as SVG, DXF, PDF and STL."""
