"""Hide capture on drawn photos of known truth: the table of its figures.

    python -m tests.bench.capture [--scenes 60] [--size 12] [--only sheets] [--first 0]

Each scene (:mod:`tests.scenes`) takes the next floor and leather, and its own tilt (0 to 35°),
lens, light, noise and JPEG quality; four to six sheets lie around the hide. A row shows

* ``sheets read``, the residual of their fit, and what rectification alone makes of the true
  edge: its area beside the truth, and the largest distance once laid on it without scaling;
* ``outline``: area of the outline traced without help, 95th percentile and largest distance of
  its points from the true edge, and whether it was called sure; a sure one that is off by more
  than 1.2 % is marked WRONG;
* ``guided``: area of the outline traced with 30 rough points (3 mm noise), and whether it is
  sure; a sure one that is off by more than 0.8 % is marked WRONG;
* ``marks``: drawn, found as flaws, listed as doubtful, invented; median boundary distance;
* seconds (wall, processor) from file to marks without the guided outline, and the peak memory
  of a process that does nothing else.

``--only sheets`` leaves out all but rectification. Floors named ``real`` are photographs that
ship in scikit-image (brick, gravel, grass) and Debian's gimp-data, where installed
(``--real``). Ctrl-C ends with the summary of the rows so far. Nothing is asserted here.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.util
import math
import multiprocessing
import resource
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import shapely
from shapely import Polygon

from hides.capture.marks import USUAL_LEGEND, Marks, find
from hides.capture.merge import trace_all
from hides.capture.photo import Photo, read
from hides.capture.pose import Flat, View, locate
from hides.errors import InputError
from hides.outline import FloatArray, Outline
from tests.scenes import FLOORS, LEATHERS, PLAIN, Chalk, Image, Scene, scene

FAR_GUIDED = 0.008  # the same with a guide
FAR = 0.012  # of the area: a sure outline that is off by more is a defect
MARKS = ("ring", "area", "line", "ring", "area")
COLOURS = ("blue", "red", "green", "yellow", "white", "pink")
KNOWN = {entry.colour for entry in USUAL_LEGEND.entries}  # pink is not in the usual legend


@dataclass(frozen=True)
class Seen:
    """What capture made of one photo; arrays in its own floor frame, mm."""

    edge: FloatArray  # the true edge's pixels as rectified
    sheets: int
    residual: float
    outline: FloatArray | None = None
    says: tuple[str, ...] = ()
    guided: FloatArray | None = None
    guided_says: tuple[str, ...] = ()
    flaws: tuple[FloatArray, ...] = ()
    doubtful: tuple[FloatArray, ...] = ()
    wall: float = 0.0
    processor: float = 0.0
    peak: float = 0.0  # MB


def peak() -> float:
    """The most memory that this process has held, in MB.

    Linux counts what a process held before it became this program into getrusage's figure (its
    parent's picture here), but not into VmHWM.
    """
    status = Path("/proc/self/status")
    if status.is_file():
        line = next(t for t in status.read_text().splitlines() if t.startswith("VmHWM"))
        return int(line.split()[1]) / 1e3
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


def captured(path: Path, edge: FloatArray, guide: FloatArray, only: str) -> Seen | str:
    """Everything that capture does, in a process of its own; an error comes as its message."""
    wall, processor = time.perf_counter(), time.process_time()

    def spent() -> dict[str, float]:
        return {
            "wall": time.perf_counter() - wall,
            "processor": time.process_time() - processor,
            "peak": peak(),
        }

    try:
        photo = read(path)
        view = locate(photo)
    except InputError as error:
        return str(error)
    about = (view.to_floor(edge), len(view.sheets), view.residual)
    if only == "sheets":
        return Seen(*about, **spent())
    flat, outline, says = traced(photo, view)
    papers = [sheet.paper for sheet in view.sheets]
    unguided = spent()
    wide, guided, guided_says = traced(photo, view, view.to_floor(guide))
    ground = outline if outline is not None and not says else guided
    before = spent()
    flat = flat if ground is outline else wide
    marks = Marks(())
    if ground is not None and flat is not None:
        marks = find(flat, ground, papers=papers)
    cost = {key: unguided[key] + value - before[key] for key, value in spent().items()}
    cost["peak"] = peak()
    return Seen(
        *about,
        outline=None if outline is None else outline.points,
        says=says,
        guided=None if guided is None else guided.points,
        guided_says=guided_says,
        flaws=tuple(np.array(flaw.shape.exterior.coords) for flaw in marks.flaws),
        doubtful=tuple(np.array(doubt.shape.exterior.coords) for doubt in marks.doubtful),
        **cost,
    )


def traced(
    photo: Photo, view: View, guide: FloatArray | None = None
) -> tuple[Flat | None, Outline | None, tuple[str, ...]]:
    """The flat picture, the outline and what speaks against it."""
    try:
        flat, found = trace_all([photo], [view], guide)
    except InputError as error:
        return None, None, (str(error),)
    return flat, found.outline, found.doubts


def shots(count: int, size: float, floors: dict[str, Image | None], first: int) -> Iterator[Shot]:
    """The scenes, one after another."""
    names = list(floors)
    for seed in range(first, first + count):
        rng = np.random.default_rng(50_000 + seed)
        floor = names[seed % len(names)]
        leather = list(LEATHERS)[seed // len(names) % len(LEATHERS)]
        tilt = float(rng.uniform(0, 35))
        colours = rng.permutation(COLOURS)
        shot = scene(
            seed,
            floor=floor if floor in FLOORS else "grey",
            texture=floors[floor],
            leather=leather,
            tilt=tilt,
            sheets=4 + seed % 3,
            lens=(float(rng.uniform(-0.1, 0.06)), float(rng.uniform(-0.02, 0.03))),
            noise=float(rng.uniform(2, 6)),
            shadow=float(rng.uniform(0.1, 0.5)),
            jpeg=int(rng.integers(75, 96)),
            chalk=[Chalk(form, str(c)) for form, c in zip(MARKS, colours, strict=False)],
            size=size,
        )
        yield Shot(f"{seed:3d} {floor:9.9s} {leather:8s}{tilt:3.0f}°", floor, shot)


@dataclass(frozen=True)
class Shot:
    """A scene with its row's head."""

    head: str
    floor: str
    scene: Scene


# What may lie under a hide, of the patterns that GIMP has; brick has a namesake above.
_PATTERNS = (
    *("Wood/pine", "Wood/parque1", "Wood/walnut", "Wood/corkboard", "Wood/wood2"),
    *("Stone/brick", "Stone/slate", "Stone/granite1", "Stone/ground1", "Stone/pink_marble"),
)


def real_floors() -> dict[str, Image | None]:
    """Photographs of floors that ship with other software on this machine."""
    paths = []
    found = importlib.util.find_spec("skimage")
    if found is not None and found.origin is not None:
        folder = Path(found.origin).parent / "data"
        paths += [folder / f"{name}.png" for name in ("brick", "gravel", "grass")]
    paths += [Path("/usr/share/gimp/2.0/patterns") / f"{name}.pat" for name in _PATTERNS]
    images = {f"{path.stem}{path.suffix[1]}": _picture(path) for path in paths if path.is_file()}
    return {name: image for name, image in images.items() if image is not None}


def _picture(path: Path) -> Image | None:
    """A PNG, or a GIMP pattern: header of big-endian numbers (its size first), then pixels."""
    if path.suffix == ".png":
        return cv2.imread(str(path), cv2.IMREAD_COLOR)
    data = path.read_bytes()
    head, _, width, height, depth = np.frombuffer(data[:20], ">u4").tolist()
    if depth not in (1, 3) or len(data) < head + width * height * depth:
        return None
    pixels = np.frombuffer(data, np.uint8, width * height * depth, head)
    pixels = pixels.reshape(height, width, depth)[:, :, ::-1]
    return np.ascontiguousarray(np.broadcast_to(pixels, (height, width, 3)))


def laid_on(points: FloatArray, others: FloatArray) -> FloatArray:
    """Points turned and shifted, never scaled, onto others (Kabsch's least squares)."""
    return carried(points, others, points)


def guide_of(shot: Scene, rng: np.random.Generator) -> FloatArray:
    """Thirty rough points along the edge, 3 mm off, in pixels."""
    ring = Polygon(shot.outline).exterior
    points = [ring.interpolate(part, normalized=True).coords[0] for part in np.arange(30) / 30]
    return shot.to_pixels(np.array(points) + rng.normal(0, 3, (30, 2)))


@dataclass(frozen=True)
class Row:
    """Figures of one scene; areas are shares off the truth, distances mm."""

    head: str
    plain: bool
    area: float
    far: float
    traced: float = float("nan")
    p95: float = float("nan")
    most: float = float("nan")
    sure: bool = False
    guided: float = float("nan")
    drawn: int = 0
    found: int = 0
    listed: int = 0
    invented: int = 0
    bounds: tuple[float, ...] = ()
    seen: Seen | None = None

    @property
    def guided_sure(self) -> bool:
        """Whether nothing spoke against the outline that a guide gave."""
        return self.seen is not None and self.seen.guided is not None and not self.seen.guided_says

    @property
    def guided_wrong(self) -> bool:
        """Called sure with a guide, and off by more than is allowed."""
        return self.guided_sure and not abs(self.guided) <= FAR_GUIDED

    @property
    def wrong(self) -> bool:
        """Called sure, and off by more than is allowed."""
        return self.sure and not abs(self.traced) <= FAR


def judged(shot: Shot, seen: Seen) -> Row:
    """Compare with the truth, carried into the frame of what was seen."""
    true = laid_on(shot.scene.outline, seen.edge)
    area = Polygon(true).area
    distance = np.hypot(*(true - seen.edge).T)
    row = {
        "head": shot.head,
        "plain": shot.floor in PLAIN,
        "area": Polygon(seen.edge).area / area - 1,
        "far": float(distance.max()),
        "seen": seen,
    }
    if seen.outline is not None:
        ring = shapely.segmentize(Polygon(seen.outline).exterior, 5.0)
        off = shapely.distance(shapely.points(ring.coords), Polygon(true).exterior)
        row |= {
            "traced": Polygon(seen.outline).area / area - 1,
            "p95": float(np.percentile(off, 95)),
            "most": float(off.max()),
            "sure": not seen.says,
        }
    if seen.guided is not None:
        row |= {"guided": Polygon(seen.guided).area / area - 1}
        row |= _marks_judged(shot.scene, seen)
    return Row(**row)


def _marks_judged(shot: Scene, seen: Seen) -> dict[str, object]:
    """Each drawn mark is found, or listed, or missed; what lies on none was invented."""
    whole = np.concatenate([shot.outline, *(m.shape.exterior.coords for m in shot.marks)])
    ends = np.cumsum([len(shot.outline), *(len(m.shape.exterior.coords) for m in shot.marks)])
    moved = carried(shot.outline, seen.edge, whole)
    true = [Polygon(ring) for ring in np.split(moved, ends)[1:-1]]
    flaws = [Polygon(ring).buffer(0) for ring in seen.flaws]
    doubts = [Polygon(ring).buffer(0) for ring in seen.doubtful]
    matched = [[f for f in flaws if _same(f, mark)] for mark in true]
    bounds = [
        float(np.median(shapely.distance(shapely.points(f.exterior.coords), mark.exterior)))
        for mark, found, drawn in zip(true, matched, shot.marks, strict=True)
        for f in found[:1]
        if drawn.form != "line" and isinstance(f, Polygon)
    ]
    named = [drawn.colour in KNOWN for drawn in shot.marks]
    listed = [any(d.intersects(mark) for d in doubts) for mark in true]
    return {
        "drawn": len(true),
        # A colour that the legend doesn't have is right when it is listed, and only then.
        "found": sum(
            bool(found) if known else said and not found
            for found, said, known in zip(matched, listed, named, strict=True)
        ),
        "listed": sum(
            known and not found and said
            for found, said, known in zip(matched, listed, named, strict=True)
        ),
        "invented": sum(not any(f.intersects(m.buffer(10)) for m in true) for f in flaws),
        "bounds": tuple(bounds),
    }


def _same(one: Polygon, other: Polygon) -> bool:
    """A line's width is the chalk's, so a third in common is enough."""
    return one.intersection(other).area > 0.33 * min(one.area, other.area)


def carried(outline: FloatArray, edge: FloatArray, points: FloatArray) -> FloatArray:
    """Points by the same turn and shift that lay the outline on the edge."""
    a, b = outline - outline.mean(axis=0), edge - edge.mean(axis=0)
    left, _, right = np.linalg.svd(a.T @ b)
    turn = left @ np.diag((1.0, np.linalg.det(left @ right))) @ right
    moved: FloatArray = (points - outline.mean(axis=0)) @ turn + edge.mean(axis=0)
    return moved


HEAD = (
    "  # floor     leather tilt | read  px  area %   mm | outline % p95 max sure  | guided % sure  "
    "| marks drawn found listed invented mm |  s wall cpu   MB"
)


def line_of(row: Row) -> str:
    """One row of the table."""
    seen = row.seen
    assert seen is not None
    text = f"{row.head} |  {seen.sheets} {seen.residual:5.2f} {row.area:+7.3%} {row.far:5.2f} |"
    if seen.guided is not None:
        sure = "WRONG" if row.wrong else "sure" if row.sure else "asks"
        text += f" {row.traced:+8.2%} {row.p95:5.1f} {row.most:4.0f} {sure:5s} |"
        middle = np.median(row.bounds) if row.bounds else float("nan")
        helped = "WRONG" if row.guided_wrong else "sure" if row.guided_sure else "asks"
        text += (
            f" {row.guided:+7.2%} {helped:5s} | {row.drawn} {row.found} {row.listed} {row.invented}"
        )
        text += f" {middle:4.1f} |"
    return f"{text} {seen.wall:5.1f} {seen.processor:5.1f} {seen.peak:5.0f}"


def summary(rows: Sequence[Row], lost: int) -> list[str]:
    """What the rows come to, beside what is asked for."""
    nan = math.nan
    four = [row for row in rows if row.seen and row.seen.sheets >= 4]
    lines = [
        f"{len(rows) + lost} scenes, {lost} refused, {len(four)} with four sheets or more read",
        f"rectification: worst area {max((abs(r.area) for r in four), default=nan):.3%} (0.4 %), "
        f"worst place {max((r.far for r in four), default=nan):.2f} mm (3)",
    ]
    outlined = [row for row in rows if not math.isnan(row.guided)]
    if outlined:
        helped = [abs(row.guided) for row in outlined if row.guided_sure]
        plain = [row for row in outlined if row.plain and row.sure]
        off = [abs(row.traced) for row in plain] or [nan]
        lines += [
            f"outline, plain floors: {len(plain)} of {sum(r.plain for r in outlined)} sure; median "
            f"{np.median(off):.2%} (0.5 %), worst {max(off):.2%} (1.2 %), worst 95th percentile "
            f"{max([r.p95 for r in plain], default=nan):.1f} mm (4)",
            f"outline, all floors: {sum(r.sure for r in outlined)} of {len(outlined)} sure, "
            f"{sum(r.wrong for r in outlined)} sure and wrong (0)",
            f"guided: {len(helped)} of {len(outlined)} sure, the worst of them "
            f"{max(helped, default=nan):.2%} (0.8 %), "
            f"the worst of all {max(abs(r.guided) for r in outlined):.2%}",
        ]
        drawn = max(1, sum(r.drawn for r in outlined))
        bounds = [b for r in outlined for b in r.bounds] or [nan]
        lines += [
            f"marks: {sum(r.found for r in outlined) / drawn:.1%} found (98 %), "
            f"{sum(r.listed for r in outlined)} more listed, "
            f"{sum(r.invented for r in outlined)} invented (0), median boundary "
            f"{np.median(bounds):.1f} mm (8)"
        ]
    lines += [
        f"time: median {np.median([r.seen.wall for r in rows if r.seen]):.1f} s wall, "
        f"{np.median([r.seen.processor for r in rows if r.seen]):.1f} s processor (8); "
        f"peak {max(r.seen.peak for r in rows if r.seen):.0f} MB (1500)"
    ]
    return lines


def main(arguments: Sequence[str] | None = None) -> None:
    """Draw, capture, judge, print."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.capture")
    parser.add_argument("--scenes", type=int, default=60)
    parser.add_argument("--first", type=int, default=0, help="seed of the first scene")
    parser.add_argument("--size", type=float, default=12.0, help="megapixels")
    parser.add_argument("--only", choices=("sheets", ""), default="")
    parser.add_argument("--real", action="store_true", help="photographed floors")
    given = parser.parse_args(arguments)
    floors = real_floors() if given.real else dict.fromkeys(FLOORS)
    if not floors:
        raise SystemExit("no photographed floors are installed (scikit-image, gimp-data)")
    rows, lost = [], 0
    print(HEAD)
    spawn = multiprocessing.get_context("spawn")
    with (
        contextlib.suppress(KeyboardInterrupt),  # Ctrl-C ends with what there is
        tempfile.TemporaryDirectory() as folder,
        ProcessPoolExecutor(1, mp_context=spawn, max_tasks_per_child=1) as pool,
    ):
        for shot in shots(given.scenes, given.size, floors, given.first):
            path = shot.scene.save(Path(folder) / "side.jpg")
            edge = shot.scene.to_pixels(shot.scene.outline)
            guide = guide_of(shot.scene, np.random.default_rng(len(rows)))
            seen = pool.submit(captured, path, edge, guide, given.only).result()
            if isinstance(seen, str):
                lost += 1
                print(f"{shot.head} | refused: {seen}", flush=True)
                continue
            rows.append(judged(shot, seen))
            print(line_of(rows[-1]), flush=True)
    print(*summary(rows, lost) if rows else ["nothing was read"], sep="\n")


if __name__ == "__main__":
    main()
