"""How marks are read: found, missed, invented, doubtful, and how far their edges are off.

Photos first, then patches of leather in which chalk lies thin (half to nine tenths of the ground)
and in dashes with gaps up to 13 mm. Prints one line for each leather, then one for all: marks
drawn in the legend's colours and how many of them were read as the right kind, listed as
doubtful, or missed; readings that match nothing drawn; marks in a colour outside the legend, and
how many were listed; the distance of the edges in mm (median, 95 %); and seconds a picture. The
camera is the scene's own, so that nothing but the reading is measured; scars, veins and stains
of the leather are painted into the photos that must not be read.

    python -m tests.bench.marks [SCENES] [MEGAPIXELS] [FOLDER FOR PICTURES]
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from shapely import LineString, Polygon

from hides.capture import targets
from hides.capture.marks import USUAL_LEGEND, Doubt, Marks, find
from hides.capture.pose import Flat
from hides.flaws import Flaw
from hides.outline import Outline
from tests.marked import HIDE, PAPER, at, patch
from tests.scenes import CHALKS, LEATHERS, Chalk, Marked, Scene, scene

Judged = tuple[str, float, "Counter[str]", list[float]]
FORMS = ("ring", "area", "line")


def flattened(shot: Scene, scale: float = 1.0, pad: float = 500.0) -> Flat:
    """What is within ``pad`` mm of the hide, through the scene's own camera; sheets lie there."""
    left, low = shot.outline.min(axis=0) - pad
    right, high = shot.outline.max(axis=0) + pad
    width, height = int((right - left) / scale), int((high - low) / scale)
    empty = Flat(np.zeros((0, 0, 3), np.uint8), np.zeros((0, 0), bool), (left, high), scale)
    v, u = np.mgrid[:height, :width]
    maps = shot.to_pixels(empty.to_floor(np.column_stack([u.ravel(), v.ravel()])))
    maps = maps.astype(np.float32).reshape(height, width, 2)
    pixels = cv2.remap(shot.pixels, maps, None, cv2.INTER_LINEAR)
    seen = ((maps >= 0) & (maps < shot.pixels.shape[1::-1])).all(axis=-1)
    return replace(empty, pixels=pixels, seen=seen)


def aged(flat: Flat, outline: Polygon, seed: int) -> Flat:
    """The same with what leather has by nature: dark and pale scars, veins, brown stains."""
    rng = np.random.default_rng(seed)
    factor = np.ones(flat.pixels.shape, np.float32)
    left, low, right, high = outline.bounds
    for i in range(12):
        at = flat.to_pixels(np.array([[rng.uniform(left, right), rng.uniform(low, high)]]))[0]
        walk = at + np.cumsum(rng.normal(0, 12, (8, 2)) + rng.normal(0, 8, 2), axis=0)
        mask = np.zeros(factor.shape[:2], np.float32)
        if i < 9:  # scars and veins
            wide = int(rng.integers(1, 6))
            cv2.polylines(mask, [np.round(walk).astype(np.int32)], False, 1.0, wide, cv2.LINE_AA)
        else:
            size = rng.uniform(12, 60, 2).astype(int).tolist()
            cv2.ellipse(mask, np.round(at).astype(int).tolist(), size, 0, 0, 360, 1.0, -1)
        mask = cv2.GaussianBlur(mask, (0, 0), 1.5 if i < 9 else 6.0)
        tone = rng.uniform(1.05, 1.25) if i % 3 == 0 else rng.uniform(0.65, 0.95)
        tint = np.array([rng.uniform(0.93, 1.0), 1.0, rng.uniform(1.0, 1.05)])  # browner
        factor *= 1 + mask[..., None] * (tone * tint - 1)
    pixels = (flat.pixels * factor).clip(0, 255).astype(np.uint8)
    return replace(flat, pixels=pixels)


def chalks_of(rng: np.random.Generator, count: int) -> list[Chalk]:
    """Marks in every form and colour, each fifth across the edge."""
    colours = list(CHALKS)
    return [
        Chalk(
            FORMS[int(rng.choice(3, p=(0.6, 0.2, 0.2)))],
            colours[int(rng.integers(len(colours)))],
            edge=i % 5 == 4,
        )
        for i in range(count)
    ]


def overlap(one: Polygon, other: Polygon) -> float:
    """Shared area over joint area."""
    return one.intersection(other).area / one.union(other).area


def apart(one: Polygon, other: Polygon) -> np.ndarray:
    """Distances in mm from one edge to the other, every 2 mm along the first."""
    steps = np.arange(0, one.exterior.length, 2.0)
    return np.array([other.exterior.distance(one.exterior.interpolate(s)) for s in steps])


def papers_of(shot: Scene) -> list[Polygon]:
    """The paper of the scale sheets where it lies, floor mm."""
    return [Polygon(spot(targets.paper_of("a4"))) for spot in shot.sheets]


def matched(shapes: list[Polygon], truth: tuple[Marked, ...]) -> list[int | None]:
    """Which truth each shape is; None for none."""
    found = []
    for shape in shapes:
        scores = [overlap(shape, t.shape) for t in truth]
        found.append(int(np.argmax(scores)) if scores and max(scores) > 0.3 else None)
    return found


def judge(marks: Marks, truth: tuple[Marked, ...]) -> tuple[Counter[str], list[float]]:
    """Counts by name, and the median and largest edge error of each mark read."""
    count: Counter[str] = Counter()
    edges: list[float] = []
    read = matched([f.shape for f in marks.flaws], truth)
    listed = matched([d.shape for d in marks.doubtful], truth)
    for i, mark in enumerate(truth):
        entry = USUAL_LEGEND.entry(mark.colour)
        flaws = [f for f, j in zip(marks.flaws, read, strict=True) if j == i]
        if entry is None:
            count["strange"] += 1
            count["strange listed"] += i in listed and not flaws
            count["invented"] += len(flaws)
            continue
        count["drawn"] += 1
        if any((f.kind, f.face) == (entry.flaw, entry.face) for f in flaws):
            count["read"] += 1
            edges += apart(flaws[0].shape, mark.shape).tolist()
        elif flaws:
            count["wrong kind"] += 1
        else:
            count["listed" if i in listed else "missed"] += 1
    count["invented"] += read.count(None)
    count["stray doubts"] += listed.count(None)
    return count, edges


def drawn(flat: Flat, marks: Marks, truth: tuple[Marked, ...], path: Path) -> None:
    """A picture to look at: truth in black, flaws in white, doubts dotted red."""
    picture = flat.pixels.copy()
    each: list[tuple[Polygon, tuple[int, int, int]]] = [(t.shape, (0, 0, 0)) for t in truth]
    each += [(f.shape, (255, 255, 255)) for f in marks.flaws]
    each += [(d.shape, (255, 0, 255)) for d in marks.doubtful]
    for shape, colour in each:
        ring = np.round(flat.to_pixels(np.array(shape.exterior.coords))).astype(np.int32)
        cv2.polylines(picture, [ring], True, colour, 1, cv2.LINE_AA)
    named: list[Flaw | Doubt] = [*marks.flaws, *marks.doubtful]
    for one in named:
        at = flat.to_pixels(np.array([one.shape.centroid.coords[0]]))[0].astype(int)
        says = one.kind if isinstance(one, Flaw) else one.says[:50]
        cv2.putText(picture, says, at.tolist(), 0, 0.5, (255, 255, 255), 1, cv2.LINE_AA)
    cv2.imwrite(str(path), picture)


def photos(count: int, size: float, folder: str) -> Iterator[Judged]:
    """Photos through a camera, a fifth of the marks across the edge."""
    for seed in range(count):
        rng = np.random.default_rng(1000 + seed)
        leather = list(LEATHERS)[seed % len(LEATHERS)]
        shot = scene(
            seed,
            floor=("grey", "wood", "concrete", "tarp", "brick")[seed % 5],
            leather=leather,
            tilt=float(rng.uniform(0, 35)),
            shadow=float(rng.uniform(0, 0.6)),
            chalk=chalks_of(rng, 9),
            size=size,
        )
        flat = aged(flattened(shot), Polygon(shot.outline), seed)
        start = time.perf_counter()
        marks = find(flat, Outline.of(shot.outline), papers=papers_of(shot))
        took = time.perf_counter() - start
        if folder:
            drawn(flat, marks, shot.marks, Path(folder) / f"{seed:03}-{leather}.png")
        yield leather, took, *judge(marks, shot.marks)


def patches(count: int) -> Iterator[Judged]:
    """Thin and dashed chalk on patches, six marks each."""
    for seed in range(count):
        rng = np.random.default_rng(seed)
        leather = list(LEATHERS)[seed % len(LEATHERS)]
        truth = []
        for i in range(6):
            form = FORMS[int(rng.choice(3, p=(0.6, 0.2, 0.2)))]
            x, y = 120 + 150 * (i % 3), 150 + 210 * (i // 3)
            shape = at(x, y, float(rng.uniform(22, 60)))
            if form == "line":
                shape = LineString([(x - 30, y), (x + 30, y + rng.uniform(-20, 20))]).buffer(3)
            truth.append(Marked(form, str(rng.choice(list(CHALKS))), shape))
        flat = patch(
            leather,
            [(mark.form, mark.colour, mark.shape) for mark in truth],
            seed=seed,
            shadow=float(rng.choice([0.0, 0.3, 0.6])),
            gap=float(rng.uniform(0, 13)),
            cover=float(rng.uniform(0.5, 0.9)),
        )
        start = time.perf_counter()
        marks = find(flat, Outline.of(HIDE.exterior.coords), papers=[PAPER])
        yield leather, time.perf_counter() - start, *judge(marks, tuple(truth))


def table(title: str, judged: Iterable[Judged]) -> None:
    """Print what came of it, by leather and in all."""
    total: dict[str, Counter[str]] = {}
    edges: dict[str, list[float]] = {}
    for leather, took, count, off in judged:
        count["pictures"] += 1
        count["ms"] += round(took * 1000)
        for name in (leather, "all"):
            total.setdefault(name, Counter()).update(count)
            edges.setdefault(name, []).extend(off)
    names = ("drawn", "read", "listed", "missed", "wrong kind", "invented", "strange",
             "strange listed", "stray doubts")  # fmt: skip
    print(f"{title:10}" + "".join(f"{name:>15}" for name in names) + "   edge mm      s")
    for name in sorted(total, key=lambda n: n == "all"):
        count, off = total[name], edges[name] or [np.nan]
        middle, far = np.quantile(off, [0.5, 0.95])
        cells = "".join(f"{count[each]:15}" for each in names)
        seconds = count["ms"] / count["pictures"] / 1000
        print(f"{name:10}{cells}{middle:6.1f}{far:6.1f}{seconds:6.2f}")


def main(scenes: int = 24, size: float = 3.0, folder: str = "") -> None:
    table("photos", photos(scenes, size, folder))
    table("patches", patches(2 * scenes))


if __name__ == "__main__":
    main(*(kind(text) for kind, text in zip((int, float, str), sys.argv[1:], strict=False)))
