"""Convex pieces against shapely, on random shapes and open ones."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import Polygon

from nest.place import shapes
from tests.stars import valid_star

DATA = Path(os.environ.get("CROUPON_DATA", "../shared"))


def test_convex_pieces_are_convex_and_cover_the_ring_once() -> None:
    """Area adds up, union is the ring, every piece equals its hull."""
    rng = np.random.default_rng(5)
    for _ in range(40):
        ring = valid_star(rng)
        pieces = [Polygon(p) for p in shapes.convex_pieces(ring)]
        assert sum(p.area for p in pieces) == pytest.approx(Polygon(ring).area, rel=1e-9)
        assert shapely.union_all(pieces).symmetric_difference(Polygon(ring)).area < 1e-6
        assert all(p.area == pytest.approx(p.convex_hull.area, rel=1e-9) for p in pieces)


def test_convex_pieces_are_few() -> None:
    """At most two cuts mend a reflex corner (Chazelle & Dobkin 1985), and few need two."""
    rng = np.random.default_rng(6)
    cuts = reflex = 0
    for _ in range(30):
        ring = valid_star(rng)
        turn = np.cross(
            np.c_[ring - np.roll(ring, 1, 0), np.zeros(len(ring))],
            np.c_[np.roll(ring, -1, 0) - ring, np.zeros(len(ring))],
        )[:, 2]
        pieces = len(shapes.convex_pieces(ring))
        assert pieces <= 2 * (turn < 0).sum() + 1
        cuts += pieces - 1
        reflex += (turn < 0).sum()
    assert cuts <= 1.05 * reflex


@pytest.mark.skipif(not (DATA / "esicup/swim.json").exists(), reason="CROUPON_DATA has no esicup")
def test_open_shapes_split_into_few_pieces() -> None:
    """The most ragged of the open instances: far fewer pieces than triangles."""
    for item in json.loads((DATA / "esicup/swim.json").read_text())["items"]:
        ring = shapes.straightened(np.array(item["points"], float))
        assert len(shapes.convex_pieces(ring)) <= max(1, len(ring) // 2)
