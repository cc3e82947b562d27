"""How much leather goes round a knife: half girths of sections, by station.

Leather of thickness t, bent, keeps its length on a neutral line k·t from its inside. Round a
section it follows the section grown by k·t, and bridges hollows. So the *needed* length N, on
the neutral line from the middle of the fold to the inner edge of the welt, is half the
girth of the convex hull of

* the fold's own bend (it is straight, and stays as wide as the blade's back where the
  knife's back drops away from it),
* the knife's section, grown by k·t,
* the welt's inner edge, half the welt's thickness and k·t off the middle, where it touches
  the section's lower end.

A section is the convex hull of discs, given by centre and radius on its right half: a handle
is a rounded rectangle (four corners), a blade a wedge (two corners of the back and the edge).
Depths are measured from the inside of the fold. Millimetres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from hides.outline import FloatArray

_RAYS = 49  # points on half a disc; a chord is then short by 1 part in 5600
# Outward normals of the right half, from straight up (towards the fold) to straight down.
_NORMALS = np.stack(
    [np.sin(np.linspace(0, np.pi, _RAYS)), -np.cos(np.linspace(0, np.pi, _RAYS))], axis=-1
)


@dataclass(frozen=True)
class Section:
    """The right halves of n sections, each the hull of m discs and their mirror images.

    Attributes
    ----------
    centres : (n, m, 2) float64, mm: off the middle, and depth below the fold.
    radii : (n, m) float64, mm.
    lower : (n,) float64, mm: depth of the lower end.

    The last disc is the lowest.
    """

    centres: FloatArray
    radii: FloatArray
    lower: FloatArray


def handle_section(
    back: FloatArray, edge: FloatArray, thickness: FloatArray, rounding: float
) -> Section:
    """Rounded rectangles from depth ``back`` to ``edge``, ``thickness`` wide; (n,) mm each.

    ``rounding`` 1 makes stadiums (the corners as round as they can be), 0 plain rectangles.
    """
    radius = rounding * np.minimum(edge - back, thickness) / 2
    aside = thickness / 2 - radius
    upper, lower = np.stack([aside, back + radius], -1), np.stack([aside, edge - radius], -1)
    return Section(np.stack([upper, lower], axis=1), np.stack([radius, radius], axis=1), edge)


def blade_section(back: FloatArray, edge: FloatArray, thickness: FloatArray) -> Section:
    """Wedges from a back ``thickness`` wide at depth ``back`` to nothing at ``edge``; (n,) mm."""
    upper, lower = np.stack([thickness / 2, back], -1), np.stack([np.zeros_like(edge), edge], -1)
    return Section(np.stack([upper, lower], axis=1), np.zeros((len(edge), 2)), edge)


def half_girth(section: Section, *, fold: float, grow: float, welt: float) -> FloatArray:
    """Needed length N of each section, (n,) mm.

    Parameters
    ----------
    fold : half the inner width of the fold, mm.
    grow : k·t, from the inside of the leather to its neutral line, mm.
    welt : half the welt's thickness, mm.
    """
    count = len(section.lower)
    if count == 0:
        return np.zeros(0)
    bend = np.broadcast_to([[[fold, 0.0]]], (count, 1, 2))
    centres = np.concatenate([bend, section.centres], axis=1)
    radii = np.concatenate([np.zeros((count, 1)), section.radii], axis=1) + grow
    aside = welt + grow
    end = np.maximum(section.lower, _depth_at(centres[:, -1], radii[:, -1], aside))

    rim = (centres[:, :, None] + radii[:, :, None, None] * _NORMALS).reshape(count, -1, 2)
    rim[..., 1] = np.minimum(rim[..., 1], end[:, None])  # what lies past the welt doesn't count
    corners = np.zeros((count, 3, 2))
    corners[:, 0, 1] = -grow  # the middle of the fold
    corners[:, 1, 1] = end
    corners[:, 2] = np.stack([np.full(count, aside), end], axis=-1)
    points = np.concatenate([rim, corners], axis=1)
    hulls = shapely.convex_hull(
        shapely.multipoints(
            points.reshape(-1, 2), indices=np.repeat(np.arange(count), points.shape[1])
        )
    )
    # The hull of the right half is closed by the middle line and by the way to the welt's edge.
    around: FloatArray = shapely.length(hulls) - (end + grow) - aside
    return around


def _depth_at(centre: FloatArray, radius: FloatArray, aside: float) -> FloatArray:
    """Depth where discs (n, 2), (n,) and the level ground between twins end, ``aside`` off."""
    off = np.maximum(aside - centre[:, 0], 0.0)
    drop = np.sqrt(np.maximum(radius**2 - off**2, 0.0))
    return np.where(off <= radius, centre[:, 1] + drop, -math.inf)


def fold_allowance(thickness: float, grow: float) -> float:
    """Leather from the middle of the fold to the corner of a back ``thickness`` wide, mm.

    a = s/2 + (π/2)·k·t: half the back, then a quarter turn on the neutral line. Rule of
    thumb (common practice, no published source): the leather's thickness and a little.
    """
    return thickness / 2 + math.pi / 2 * grow
