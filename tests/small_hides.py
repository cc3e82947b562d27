"""Small hides that fit in the head, for the tests beside this file."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np
from shapely import Polygon, box

from hides.flaws import Flaw
from hides.hide import Hide
from hides.outline import Outline
from hides.thickness import Reading

SHEET = [(0, 0), (1000, 0), (1000, 600), (0, 600)]  # 60 dm²


def sheet(**changes: Any) -> Hide:
    """A plain rectangle of 1000 × 600 mm, piece "bend", with what is given beside it."""
    about: dict[str, Any] = {"name": "Sheet", "piece": "bend", "tannage": "vegetable"}
    return Hide(**{**about, "outline": Outline.of(SHEET), **changes})


def square_flaw(kind: str, x: float, y: float, size: float, face: str = "grain") -> Flaw:
    """A square flaw with its low corner at (x, y)."""
    return Flaw(kind, face, box(x, y, x + size, y + size))


def gauged(values: np.ndarray, places: np.ndarray) -> tuple[Reading, ...]:
    """Readings of (n,) values in mm at (n, 2) places."""
    return tuple(Reading(*place, value) for place, value in zip(places, values, strict=True))


def ring(polygon: Polygon) -> list[list[float]]:
    """The outer ring as a GeoJSON file holds it."""
    return [list(point) for point in polygon.exterior.coords]


def record() -> dict[str, Any]:
    """The contents of a sound hide record: one feature of each role, two of the flaws."""
    return copy.deepcopy(_RECORD)


def _feature(role: str, kind: str, coordinates: Any, **properties: Any) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": {"role": role, **properties},
        "geometry": {"type": kind, "coordinates": coordinates},
    }


_RECORD = {
    "type": "FeatureCollection",
    "croupon": {"kind": "hide", "version": 1},
    "name": "Sheet",
    "piece": "bend",
    "tannage": "vegetable",
    "frame": {"units": "mm", "up": "grain"},
    "price": {"amount": 10.0, "currency": "EUR", "per": "ft2"},
    "supplier_area": {"value": "6²", "unit": "ft2"},
    "features": [
        _feature("outline", "Polygon", [ring(box(0, 0, 1000, 600)), ring(box(500, 300, 520, 330))]),
        _feature("backbone", "LineString", [[0, 0], [1000, 0]]),
        _feature("flaw", "Polygon", [ring(box(100, 100, 150, 140))], flaw="brand", face="grain"),
        _feature(
            "flaw", "LineString", [[700, 100], [800, 150]], flaw="scar", face="grain", width=6
        ),
        _feature("flaw", "Point", [300, 400], flaw="hole", face="through", width=10, note="nail"),
        _feature("reading", "Point", [200, 200], thickness=3.4, gauge="dial"),
        _feature("reading", "Point", [800, 200], thickness=3.3),
        _feature(
            "zone", "Polygon", [ring(box(0, 450, 1000, 600))], name="rim", thickness=[2.8, 3.2]
        ),
        _feature("stretch", "LineString", [[100, 500], [120, 590]]),
    ],
}
