"""Two parts on a small bed, for the tests of cut files; what they measure is worked out by hand.

::

    y 80 +-------------------------+
         |  heron-1/body           |        + 65
      50 |  ~~~~~~ fold ~~~~~~     |        | \\
      40 |                    (o)  |        |   \\   heron-1/loop
      30 |    (o)      (o)         |        |  u  \\
      20 +----------------------__/         +-------+
        10   30        60     90 110       150     210

The body is lopsided: one corner is round (radius 10), so its mirror image is another shape.
"""

import dataclasses
import math

import numpy as np

from nest.cutter.blade import strokes
from nest.cutter.contour import Contour, Label, circle
from nest.cutter.kerf import compensated
from nest.cutter.machine import Machine
from nest.cutter.program import Program

BODY, LOOP = "heron-1/body", "heron-1/loop"
QUARTER = math.tan(math.pi / 8)  # bulge of a quarter circle

FOLD = Contour(np.array([[15.0, 50.0], [105.0, 50.0]]), False, "mark", BODY, what="fold")
HOLES = tuple(circle(at, 4.0, BODY) for at in ((30.0, 30.0), (60.0, 30.0), (90.0, 40.0)))
CORNERS = [(60.0, 20.0), (100.0, 20.0), (110.0, 30.0), (110.0, 80.0), (10.0, 80.0), (10.0, 20.0)]
OUTLINE = Contour(
    np.array(CORNERS), True, "cut", BODY, np.array([0.0, QUARTER, 0.0, 0.0, 0.0, 0.0]), "outline",
)  # fmt: skip
BEND = Contour(  # half a circle of radius 4, open
    np.array([[160.0, 30.0], [168.0, 30.0]]), False, "mark", LOOP, np.array([1.0, 0.0]), "loop"
)
TRIANGLE = Contour(
    np.array([[180.0, 20.0], [210.0, 20.0], [150.0, 65.0], [150.0, 20.0]]), True, "cut", LOOP,
    what="outline",
)  # fmt: skip
PATTERN = (FOLD, *HOLES, OUTLINE, BEND, TRIANGLE)

# Lengths in mm by layer, worked out by hand from the picture.
MARKS = 90 + 4 * math.pi
ROUND = 3 * 4 * math.pi
CUTS = (2 * (100 + 60) - 20 + 5 * math.pi) + (60 + 45 + 75)
EXTENTS = (10.0, 20.0, 210.0, 80.0)
NAMES = (Label(60.0, 60.0, 0.0, BODY, 4.0), Label(165.0, 35.0, 30.0, "schräg/loop <&", 3.0))
CAUTIONS = ("Never leave it alone — not for a moment.", "Try it on scrap first.")


def machine(**changes):
    """A laser without kerf, so that strokes and pattern are the same lines."""
    about = {"name": "sample laser", "tool": "laser", "bed": (300.0, 200.0)}
    return Machine(**(about | changes))


def knife(**changes):
    """A drag knife of 1 mm offset on a router; holes are left out, they are smaller than it."""
    about = {
        "name": "sample knife", "tool": "drag", "bed": (300.0, 200.0), "offset": 1.0,
        "overcut": 2.0, "lead_in": 8.0, "turn_height": 3.0, "holes": "none", "marker": "blade",
    }  # fmt: skip
    return Machine(**(about | changes))


def program(device=None, pattern=None):
    """The sample as a program: kerf and blade as the machine has them, in the order above."""
    device = device or machine()
    if pattern is None:
        pattern = [c for c in PATTERN if not (device.tool == "drag" and c.work == "hole")]
    lines = strokes(compensated(pattern, device.kerf), device)
    return of_strokes(lines, device, pattern)


def of_strokes(lines, device, pattern):
    """A program of given strokes."""
    return Program(
        name="week of herons", machine=device, number=1, count=1, strokes=tuple(lines),
        pattern=tuple(pattern), extents=box(lines), start=(0.0, 0.0), digest="ab" * 32,
        cautions=CAUTIONS,
    )  # fmt: skip


def box(lines):
    """Extents of strokes, arcs included."""
    points = np.vstack([line.flat(0.001) for line in lines])
    return (*points.min(0).tolist(), *points.max(0).tolist())


def named(device=None):
    """The sample with the names of its parts."""
    return dataclasses.replace(program(device), labels=NAMES)


def with_strokes(given, lines):
    """The same program with other strokes, their pattern left as it is."""
    return dataclasses.replace(given, strokes=tuple(lines), extents=box(lines))
