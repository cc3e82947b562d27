"""The edge in a band: the best path is the best of all paths, and false edges show as such."""

from __future__ import annotations

from itertools import product

import cv2
import numpy as np
import pytest

from hides.capture import edge


def value(lean: np.ndarray, columns: tuple[int, ...]) -> float:
    """What a closed path is worth, by its definition."""
    gain = sum(row[:c].sum() for row, c in zip(lean, columns, strict=True))
    jumps = sum(abs(a - b) for a, b in zip(columns, columns[1:] + columns[:1], strict=True))
    return float(gain - edge.JUMP * jumps)


@pytest.mark.parametrize("seed", range(8))
def test_the_path_is_the_best_of_all_closed_paths(seed):
    """Every path down a small band is tried; those that jump by more than two don't count."""
    lean = np.random.default_rng(seed).normal(0, 1.5, (6, 4))
    ways = [
        way
        for way in product(range(5), repeat=6)
        if all(abs(a - b) <= 2 for a, b in zip(way, way[1:] + way[:1], strict=True))
    ]
    best = max(value(lean, way) for way in ways)
    assert value(lean, tuple(edge.path(lean))) == pytest.approx(best)


def disc(radius: float = 150.0) -> tuple[np.ndarray, np.ndarray]:
    """A tan disc on grey with noise, 1 mm per pixel, and its rim every two millimetres."""
    y, x = np.mgrid[:500, :500] - 250.0
    inside = np.clip(radius + 0.5 - np.hypot(x, y), 0, 1)[..., None]
    picture = inside * (98, 145, 190) + (1 - inside) * (125, 123, 120)
    picture += np.random.default_rng(1).normal(0, 4, picture.shape)
    turn = np.arange(0, 2 * np.pi, edge.RING_STEP / radius)
    rim = 250 + radius * np.column_stack([np.cos(turn), np.sin(turn)])
    return np.clip(picture, 0, 255).astype(np.uint8), rim


@pytest.mark.parametrize("shift", [(0, 0), (12, -9), (-15, 0)])
@pytest.mark.parametrize("way", [1, -1])  # of going round
def test_a_ring_that_is_off_settles_on_the_edge(shift, way):
    """Radius within 1 mm everywhere, half a millimetre in the mean."""
    picture, rim = disc()
    found = edge.settled(picture, (rim + shift)[::way], 1.0)
    radius = np.hypot(*(found - 250).T)
    assert np.abs(radius - 150).max() < 1.6
    assert abs(radius.mean() - 150) < 0.5


def test_a_true_edge_is_borne_out_and_a_false_one_is_not():
    """A circle well inside the disc has leather on both its sides."""
    picture, rim = disc()
    assert edge.support(picture, rim, 1.0).min() > 0.8
    inner = edge.every((rim - 250) * 0.6 + 250, edge.RING_STEP)
    assert edge.support(picture, inner, 1.0).max() < 0.3


def test_every_spreads_points_evenly():
    """Round a square of 40 mm: sixteen points, ten millimetres apart along it."""
    square = np.array([(0, 0), (40, 0), (40, 40), (0, 40)], dtype=np.float64)
    points = edge.every(square, 10.0)
    assert len(points) == 16
    assert np.hypot(*(np.roll(points, -1, axis=0) - points).T) == pytest.approx(10.0)


def test_a_band_holds_inside_on_the_left():
    """The first column lies inside, whatever way round the ring goes; colours by OpenCV's Lab."""
    picture, rim = disc()
    lab = cv2.cvtColor(picture, cv2.COLOR_BGR2LAB)
    for ring in (rim, rim[::-1]):
        band = edge.unrolled(lab, ring, 1.0, 20.0)
        assert band.colours[:, 0, 2].mean() > band.colours[:, -1, 2].mean() + 20
        assert band.across[0] == -20.0
