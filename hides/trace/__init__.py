"""Drawings of shapes: the silhouette of an SVG or DXF file.

A drawing may hold any number of filled shapes, in groups, turned and scaled; what counts
is the dark shape they make together. :func:`read_drawing` returns it as one outline (and
the holes in it) in the file's own units, with y turned to point *up*.

Refused with a reason: files over 20 MB, files that are not what their name says, drawings
made of lines without fill (there is no telling inside from outside), text, open paths.

>>> drawing = read_drawing("heron.svg")                               # doctest: +SKIP
>>> drawing.outline.bounds, drawing.unit                              # doctest: +SKIP
((0.0, -48.0, 240.0, 0.0), 1.0)
"""

from hides.trace.file import SIZE_LIMIT, read_drawing
from hides.trace.silhouette import Silhouette, filled

__all__ = ["SIZE_LIMIT", "Silhouette", "filled", "read_drawing"]
