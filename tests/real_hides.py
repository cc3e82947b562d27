"""Real hides that nobody here drew, as Hide objects.

Two files of Baldacci, Boschetti, Ganovelli and Maniezzo, "Algorithms for nesting with
defects", Discrete Applied Mathematics 163 (2014) 17-33, in the folder that the environment
variable CROUPON_DATA names (default: ``../shared`` beside the project). They hold outlines,
holes and quality zones of hides for furniture and shoes; the files state no unit, the sizes
are those of hides in millimetres.

Their quality counts from 1 (worst) to 3. Which kind of flaw each stands for is our choice:
1 an open scar (bars all but hidden parts), 2 a healed one (bars what is seen and straps),
3 a stain (bars the front only). Holes and zones may cross the outline or each other, so each
becomes a flaw of its own, clipped to the hide.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import Polygon

from hides.flaws import Flaw
from hides.hide import Hide
from hides.outline import Outline, polygons_of
from tests.places import DATA

FILES = ("baldacci_test10.json", "baldacci_test11_shoe.json")
QUALITY = {1: "scar", 2: "healed", 3: "stain"}


def real_hides(file: str) -> list[Hide]:
    """All hides of one of :data:`FILES`; skips the test where the file isn't there."""
    path = DATA / "esicup" / "leather" / file
    if not path.is_file():
        pytest.skip(f"{file} is not in CROUPON_DATA ({DATA})")
    rows = json.loads(path.read_text(encoding="utf-8"))["hides"]
    return [_hide(row, f"{path.stem} {row['id']}") for row in rows]


def _hide(row: dict[str, Any], name: str) -> Hide:
    corner = np.min(row["outer"], axis=0)
    outline = Outline.of(np.array(row["outer"]) - corner)
    holes = [("hole", "through", ring) for ring in row["holes"]]
    zones = [(QUALITY[zone["quality"]], "grain", zone["points"]) for zone in row["zones"]]
    flaws = tuple(
        Flaw(kind, face, part)
        for kind, face, ring in holes + zones
        for part in _clipped(np.array(ring) - corner, outline.polygon)
    )
    return Hide(name, "double butt", "unknown", outline, flaws=flaws)


def _clipped(ring: np.ndarray, hide: Polygon) -> list[Polygon]:
    """The parts of a ring that lie on the hide; some rings cross themselves."""
    if len(ring) < 3:
        return []
    return polygons_of(shapely.make_valid(Polygon(ring)).intersection(hide))
