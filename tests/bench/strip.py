"""Strip packing on open instances, through the same search and checker as hides.

    python -m tests.bench.strip ../shared/esicup/swim.json --seconds 10 --seed 1 2 3

An instance is a JSON file with strip_height and items (points, demand and
allowed_orientations_deg, null for any). Density is 100 × area / (height × used length).
Published means are those of Gardeyn, Vanden Berghe & Wauters 2025 (arXiv 2509.13329),
table 2: 100 runs of 20 minutes on 3 threads of a Ryzen 9 7950X.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from shapely import Polygon, affinity, box

from hides.outline import Outline
from nest.checker import Finding, clearances
from nest.job import Budget
from nest.place import search, shapes

PUBLISHED = {
    "albano": 89.47,
    "dagli": 89.26,
    "fu": 92.24,
    "jakobs1": 89.09,
    "jakobs2": 84.77,
    "mao": 86.14,
    "marques": 90.93,
    "shapes0": 68.60,
    "shapes1": 75.69,
    "shapes2": 84.68,
    "shirts": 89.66,
    "swim": 78.26,
    "trousers": 91.73,
}
WIDEST = 2.5  # strips start this much longer than a perfect packing


@dataclass(frozen=True)
class Instance:
    """An open instance: strip height, and each item's outline, angles and demand."""

    name: str
    height: float
    rings: tuple[np.ndarray, ...]
    angles: tuple[tuple[float, ...] | None, ...]
    kinds: tuple[int, ...]

    @property
    def area(self) -> float:
        return sum(Polygon(self.rings[kind]).area for kind in self.kinds)


def read(path: Path) -> Instance:
    """Read an instance; outlines are moved so that they turn about their box's centre."""
    data = json.loads(path.read_text(encoding="utf-8"))
    rings, angles, kinds = [], [], []
    for number, item in enumerate(data["items"]):
        ring = Outline.of(item["points"]).points
        rings.append(ring - (ring.min(axis=0) + ring.max(axis=0)) / 2)
        allowed = item["allowed_orientations_deg"]
        angles.append(None if allowed is None else tuple(float(a) for a in allowed))
        kinds += [number] * item["demand"]
    return Instance(
        data["name"], float(data["strip_height"]), tuple(rings), tuple(angles), tuple(kinds)
    )


def pack(instance: Instance, budget: Budget, *, seed: int) -> search.Layout:
    """Gather the instance's parts towards the start of the strip."""
    made = [
        shapes.Shape(shapes.straightened(ring), angles, window=180.0)
        for ring, angles in zip(instance.rings, instance.angles, strict=True)
    ]
    length = WIDEST * instance.area / instance.height
    world = shapes.build(made, instance.kinds, box=(0, 0, length, instance.height), exact=True)
    return search.run(world, budget, seed=seed)


def layout(instance: Instance, outcome: search.Layout) -> list[Polygon]:
    """The parts in place, from outlines and placements alone."""
    return [
        affinity.translate(
            affinity.rotate(Polygon(instance.rings[kind]), a, (0, 0), use_radians=True), x, y
        )
        for kind, a, (x, y) in zip(
            instance.kinds, outcome.angles, outcome.poses[:, :2], strict=True
        )
    ]


def judged(instance: Instance, parts: Sequence[Polygon]) -> tuple[float, tuple[Finding, ...]]:
    """Used length, and what the project's checker finds at zero gap.

    Lengths are scaled so that the strip is 1 m high: the checker's tolerance of 0.01 mm is
    then 1e-5 of the height.
    """
    length = max(part.bounds[2] for part in parts)
    scale = 1000.0 / instance.height
    grown = [affinity.scale(part, scale, scale, origin=(0, 0)) for part in parts]
    return length, clearances(grown, 0.0, box(0, 0, length * scale, 1000.0))


def run(instance: Instance, options: argparse.Namespace, seed: int) -> dict[str, object]:
    wall, cpu = time.perf_counter(), time.process_time()
    outcome = pack(instance, Budget.of(options.seconds, options.effort), seed=seed)
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    parts = layout(instance, outcome)
    length, findings = judged(instance, parts)
    valid = outcome.conflict <= 0 and not findings
    if options.out:
        write(options.out / f"{instance.name}.layout.json", instance, outcome, parts, length)
    return {
        "name": instance.name,
        "density": round(100 * instance.area / (instance.height * length), 3) if valid else 0.0,
        "length": round(length, 4),
        "seconds": round(wall, 2),
        "cpu": round(cpu, 2),
        "seed": seed,
        "valid": valid,
    }


def write(
    path: Path,
    instance: Instance,
    outcome: search.Layout,
    parts: Sequence[Polygon],
    length: float,
) -> None:
    """Write a layout so that anyone can check it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = [
        {
            "id": kind,
            "angle": round(float(np.rad2deg(angle)) % 360, 6),
            "points": [[round(float(v), 7) for v in p] for p in part.exterior.coords[:-1]],
        }
        for kind, angle, part in zip(instance.kinds, outcome.angles, parts, strict=True)
    ]
    data = {"name": instance.name, "length": length, "height": instance.height, "parts": rows}
    path.write_text(json.dumps(data), encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("files", type=Path, nargs="+")
    parser.add_argument("--seconds", type=float)
    parser.add_argument("--effort", type=float)
    parser.add_argument("--seed", type=int, nargs="+", default=[1])
    parser.add_argument("--out", type=Path)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    if options.seconds is None and options.effort is None:
        options.seconds = 10.0
    search.warm_up()
    if not options.json:
        print("instance   published    mean    diff    best   worst  cpu s  wall s  seeds")
    differences = []
    for path in options.files:
        instance = read(path)
        rows = [run(instance, options, seed) for seed in options.seed]
        if options.json:
            print(*(json.dumps(row) for row in rows), sep="\n", flush=True)
            continue
        found = [float(str(row["density"])) for row in rows]
        mean, known = float(np.mean(found)), PUBLISHED.get(instance.name)
        difference = "" if known is None else f"{mean - known:+.2f}"
        if known is not None:
            differences.append(mean - known)
        spent = [np.mean([float(str(row[key])) for row in rows]) for key in ("cpu", "seconds")]
        print(
            f"{instance.name:10s} {known or float('nan'):9.2f} {mean:7.2f} {difference:>7s} "
            f"{max(found):7.2f} {min(found):7.2f} {spent[0]:6.1f} {spent[1]:7.1f}  {options.seed}",
            flush=True,
        )
    if len(differences) > 1:
        print(f"mean difference from the published means: {np.mean(differences):+.2f} points")


if __name__ == "__main__":
    main()
