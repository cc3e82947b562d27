"""A hide, two sheaths and a plan that fit in the head; the tests here change one thing each.

The hide is a rectangle of 1000 × 600 mm with a square hole. Left of x = 600 the leather is
3.3 to 3.5 mm thick, right of it 2.4 to 2.8 mm. Least stretch runs along x. All parts want 3.2
to 3.6 mm; rule: gap 2 mm, edge margin 5 mm.

::

    y 600 +-----------------------------+-------------------+
          |                    [scar]   |                   |
      300 |  B2(183°)   L2(0°)          |                   |
          |                       [stain]        thin       |
      150 |  B1(5°)  W1(0°)  L1(90°)    |      (hole)       |
        0 +-----------------------------+-------------------+
          0                            600                1000
"""

import numpy as np
from shapely import Polygon, box

from hides.flaws import Flaw
from hides.hide import Hide, Price
from hides.outline import Outline
from hides.thickness import Need, Zone
from nest.job import Job, Kit, Wanted
from nest.part import Mark, Part, Region
from nest.plans import Placement, Plan

NEED = Need(3.2, 3.6)
SCAR = Flaw("scar", "grain", box(450, 450, 500, 500))  # bars front, back and strap by 3 mm
STAIN = Flaw("stain", "grain", box(500, 250, 550, 300))  # bars the front only, by 2 mm

EVEN = Zone("even", 3.3, 3.5, box(-1e4, -1e4, 1e4, 1e4))  # leather of one thickness all over


def outline(points):
    return Outline.of(points)


def hide(**changes):
    """The hide of the picture above."""
    about = {
        "name": "Slate",
        "piece": "bend",
        "tannage": "vegetable",
        "outline": outline([(0, 0), (1000, 0), (1000, 600), (0, 600)]),
        "holes": (outline([(800, 100), (850, 100), (850, 150), (800, 150)]),),
        "flaws": (SCAR, STAIN),
        "zones": (
            Zone("thick", 3.3, 3.5, box(0, 0, 600, 600)),
            Zone("thin", 2.4, 2.8, box(600, 0, 1000, 600)),
        ),
        "price": Price(60.0, "EUR", "piece"),
        "sha256": "5ca1ab1e",
    }
    return Hide(**(about | changes))


def part(kind, points, faces, marks=(), **rules):
    """A part with its centroid at (0, 0); ``faces`` maps a face to the box it covers."""
    shape = Polygon(points)
    x, y = shape.centroid.x, shape.centroid.y
    regions = tuple(
        Region(face, outline((shape & box(*area)).exterior.coords - np.array([x, y])))
        for face, area in faces.items()
    )
    moved = outline(np.asarray(points, dtype=float) - [x, y])
    return Part(kind, moved, regions, marks, **rules)


BODY = part(  # lopsided, so that its mirror image is another shape
    "body",
    [(0, 0), (150, 0), (150, 80), (100, 110), (0, 90)],
    {"back": (0, 0, 150, 50), "front": (0, 50, 150, 110)},
    marks=(
        Mark("fold", np.array([[-60.0, 0.0], [60.0, 0.0]])),
        Mark("stitch", np.array([[-50.0, -40.0], [-46.0, -40.0], [-42.0, -40.0]])),
        Mark("label", np.array([[0.0, 10.0]]), text="FRONT"),
        Mark("throat", np.array([[0.0, 0.0], [9.0, 0.0], [0.0, 9.0]]), closed=True),
    ),
    window=15.0,
)
WELT = part("welt", [(0, 0), (90, 0), (90, 14), (14, 14), (14, 60), (0, 60)],
            {"hidden": (0, 0, 90, 60)}, window=90.0)  # fmt: skip
LOOP = part("loop", [(0, 0), (100, 0), (100, 30), (0, 30)],
            {"strap": (0, 0, 100, 30)}, window=10.0)  # fmt: skip
CROSS_LOOP = part("loop", [(0, 0), (100, 0), (100, 30), (0, 30)],
                  {"strap": (0, 0, 100, 30)}, axis=90.0, window=10.0)  # fmt: skip

WANTED = (
    Wanted("hunter-1/body", "hunter-1", BODY, NEED),
    Wanted("hunter-1/welt", "hunter-1", WELT, NEED),
    Wanted("hunter-1/loop", "hunter-1", CROSS_LOOP, NEED),
    Wanted("skinner-1/body", "skinner-1", BODY, NEED),
    Wanted("skinner-1/loop", "skinner-1", LOOP, NEED),
)
JOB = Job(
    "Week 14",
    (Kit("hunter-1", "Hunter", WANTED[:3]), Kit("skinner-1", "Skinner", WANTED[3:])),
    keep="neck",
)
PLACEMENTS = (
    Placement("hunter-1/body", 5.0, 150.0, 100.0),
    Placement("hunter-1/welt", 0.0, 300.0, 100.0),
    Placement("hunter-1/loop", 90.0, 400.0, 120.0),
    Placement("skinner-1/body", 183.0, 150.0, 300.0),
    Placement("skinner-1/loop", 0.0, 330.0, 300.0),
)


def plan(of=None, **moves):
    """The plan of the picture; ``hunter_1_body=Placement(...)`` and the like replace one."""
    changed = {placement.id: placement for placement in PLACEMENTS}
    for name, placement in moves.items():
        sheath, number, kind = name.split("_")
        changed[f"{sheath}-{number}/{kind}"] = placement
    return Plan.of(JOB, of or hide(), changed.values(), budget="by hand")
