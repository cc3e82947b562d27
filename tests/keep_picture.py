"""The picture in shared/weeks/README.md of what each ``keep`` keeps, drawn by the rule itself.

python -m tests.keep_picture
"""

from __future__ import annotations

import numpy as np
import shapely
from scipy.optimize import brentq
from shapely import LineString, Polygon

from hides import record
from hides.hide import Hide
from hides.outline import polygons_of
from nest.bound import used_area
from nest.draw.labels import Labels
from nest.draw.palette import (
    FILLS,
    FRONTIER,
    HEAD,
    HIDE_EDGE,
    INK,
    LEFT_OVER,
    NOTE,
    PAPER,
    REMNANT,
)
from nest.draw.sheet import Box, Sheet, Style
from nest.draw.words import Type
from nest.plans import keep_direction
from tests.places import ROOT

PICTURE = ROOT / ".pictures/keep.svg"
SHOWN = ("butt", "neck", "belly", "tail")
USED = 0.35  # of the hide's area, in the picture
WIDE, HIGH, APART = 62.0, 40.0, 6.0  # mm, a hide on the picture, and between two
KEPT, PARTS = Type(8.0, REMNANT, bold=True, halo=PAPER), Type(8.0, INK, bold=True)


def keep_sheet(hide: Hide) -> Sheet:
    """One hide for each ``keep``: where parts gather, the cut line, and what stays whole."""
    width = len(SHOWN) // 2 * (WIDE + APART) + APART
    sheet = Sheet(width, 2 * (HIGH + 15.0), "What each keep keeps")
    for number, keep in enumerate(SHOWN):
        x = APART + (WIDE + APART) * (number % 2)
        y = sheet.height - (HIGH + 15.0) * (number // 2 + 1) + 4.0
        _draw(sheet, hide, keep, (x, y, WIDE, HIGH))
        sheet.text((x, y + HIGH + 4.0), f'keep = "{keep}"', HEAD)
    return sheet


def _draw(sheet: Sheet, hide: Hide, keep: str, place: Box) -> None:
    bounds = hide.outline.bounds
    pen = sheet.view(place, bounds, place[2] / (bounds[2] - bounds[0]))
    kept, line = _split(hide, keep)
    gathered = hide.polygon.difference(kept)
    pen.shade(gathered, Style(fill=FILLS[0]), layer=1.0)
    pen.shade(kept, LEFT_OVER, layer=1.0)
    pen.shade(hide.polygon, HIDE_EDGE, layer=3.0)
    pen.line(line.coords, FRONTIER, layer=4.0)
    labels = Labels(pen)
    for shape, words, look in ((kept, "stays whole", KEPT), (gathered, "parts gather here", PARTS)):
        room = polygons_of(pen.on_page(shape))[0]
        if not labels.inside(room, words, look, angles=(0.0, 90.0)):
            labels.inside(room, words.split()[0], look, angles=(0.0, 90.0))
    low = pen.at([(bounds[0], bounds[1]), (bounds[2], bounds[1])]) - (0.0, 3.4)
    sheet.text(low[0], "tail", NOTE)
    sheet.text(low.mean(axis=0), "backbone", NOTE, anchor="centre")
    sheet.text(low[1], "neck", NOTE, anchor="right")


def _split(hide: Hide, keep: str) -> tuple[shapely.Geometry, LineString]:
    """What lies beyond the line behind which a share of USED lies, and the line on the hide."""
    u = np.array(keep_direction(keep))
    reach, area = hide.outline.points @ u, used_area(hide, keep)
    at = brentq(lambda s: area(s) - USED * hide.gross_area, reach.min(), reach.max())
    across, far = np.array([-u[1], u[0]]) * 1e5, u * 1e5
    ends = [at * u - across, at * u + across]
    end = Polygon([*ends, ends[1] + far, ends[0] + far])
    return hide.polygon.intersection(end), LineString(ends).intersection(hide.polygon)


def drawn() -> bytes:
    """The picture of the sample hide."""
    return keep_sheet(record.read(ROOT / "shared/hides/birch.hide.json")).data("svg")


if __name__ == "__main__":
    PICTURE.write_bytes(drawn())
