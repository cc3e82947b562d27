"""Plan: where every part lies on one hide, by which rules, and what came of it.

A plan is finished and frozen. It holds whatever a proof needs beside the hide record: the
parts wanted with all they ask for, the placements, the rules, and the digest of the record
it was made for. Figures and verdict are put in by :func:`dataclasses.replace`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from hides.hide import Hide
from hides.outline import Outline
from nest.errors import PlanError
from nest.job import KEEPS, Job, Wanted
from nest.part import Part

Box = tuple[float, float, float, float]  # x0, y0, x1, y1

TOLERANCE = 0.01  # mm; what the checker forgives: a hair's tenth, far below any cutter
DIGITS = 6  # of a mm and a degree: 1e-6° at 1 m from the origin is 2e-5 mm, lost in TOLERANCE
UNKNOWN_THICKNESS = (
    "Thickness not known",
    "gauge under each part before you cut",
)  # and what to do

# The end that is kept whole is where the frontier moves to; parts gather at the other end.
# Butt: the best leather lies at the tail end of the backbone and grows worse both towards the
# neck and towards the belly, so the frontier is slanted: mostly along x, by a third along y.
# None: no gathering was asked; figures still need a line to speak of used area, so it is tail's.
_KEEP_DIRECTIONS = {
    "tail": (-1.0, 0.0),
    "neck": (1.0, 0.0),
    "belly": (0.0, 1.0),
    "butt": (-1.0, -0.35),
    "none": (-1.0, 0.0),
}


def keep_direction(keep: str) -> tuple[float, float]:
    """Unit vector in the hide's frame that points to the end of the hide that is kept.

    A point p is used leather where ``u · p`` is at most the plan's frontier, the largest
    ``u · p`` over all parts. ``keep`` is one of :data:`nest.job.KEEPS`.
    """
    x, y = _KEEP_DIRECTIONS[keep]
    length = float(np.hypot(x, y))
    return x / length, y / length


def rounded(value: float) -> float:
    """Round a number as the file holds it; never minus zero."""
    return round(float(value), DIGITS) + 0.0


@dataclass(frozen=True, slots=True)
class Placement:
    """Where one part lies: turned by ``angle`` degrees about its (0, 0), then moved to (x, y)."""

    id: str
    angle: float
    x: float
    y: float

    def outline_of(self, part: Part) -> Outline:
        """The part's outline in the hide's frame."""
        return part.outline.placed(self.angle, self.x, self.y)

    def rounded(self) -> Placement:
        """Return the same placement as the file will hold it."""
        return Placement(
            self.id, rounded(self.angle % 360.0) % 360.0, rounded(self.x), rounded(self.y)
        )


@dataclass(frozen=True, slots=True)
class Remnant:
    """A piece of hide left beyond the frontier.

    ``polygon`` in mm, hide frame, holes out; ``circle`` is (x, y, radius) in mm of the
    largest circle of sound leather in it.
    """

    polygon: Polygon
    circle: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the checker said of a plan: ``tolerance`` in mm, ``version`` of its rules."""

    passed: bool
    findings: int
    tolerance: float
    version: int


@dataclass(frozen=True, eq=False)
class Plan:
    """A placement of parts on one hide, with the rules it keeps.

    Attributes
    ----------
    name : the week's name.
    wanted : every part of the week, in order.
    left_out : ids of the kits that this plan leaves out on purpose; all others must be there.
    hide_name, hide_sha256 : the hide record planned on, by name and digest.
    hide_file : the record's path from the folder of the plan's file; of a plan in memory its name.
    gap : mm, least distance between two parts.
    edge_margin : mm, least distance from a part to the hide's edge and holes.
    keep : the end of the hide to be kept, one of :data:`nest.job.KEEPS`.
    seed, budget : what the search was given ("20 s", "effort 1").
    figures : plain numbers by the keys of :data:`nest.figures.FIGURES`.
    check : the checker's verdict, None while it has not spoken.
    bed_windows : parts of the hide that a cutter's bed takes at one laying, in mm of its frame;
        no part crosses from one to another. None: parts may lie anywhere.
    cut : where wanted parts lay that are cut already, so that their leather is gone; none of
        them is among ``placements``.
    remarks : what is to be known of how the plan came to be, a sentence each.
    drawn : the parts as the plan's file draws them, one for each of ``placements`` and ``cut`` in
        order; empty for a plan that comes from no file.
    """

    name: str
    wanted: tuple[Wanted, ...]
    hide_name: str
    hide_sha256: str
    hide_file: str
    placements: tuple[Placement, ...]
    gap: float
    edge_margin: float
    keep: str
    seed: int
    budget: str
    left_out: tuple[str, ...] = ()
    figures: Mapping[str, float] = field(default_factory=dict)
    remnants: tuple[Remnant, ...] = ()
    check: Verdict | None = None
    bed_windows: tuple[Box, ...] = ()
    cut: tuple[Placement, ...] = ()
    remarks: tuple[str, ...] = ()
    drawn: tuple[Outline, ...] = ()

    def __post_init__(self) -> None:
        if self.keep not in KEEPS:
            raise PlanError(f"keep must be one of {', '.join(KEEPS)}; got '{self.keep}'.")
        for name, value in (("gap", self.gap), ("edge_margin", self.edge_margin)):
            if not (np.isfinite(value) and value >= 0):
                raise PlanError(f"{name} must be >= 0 mm, got {value}.")
        for x0, y0, x1, y1 in self.bed_windows:
            if not (np.isfinite([x0, y0, x1, y1]).all() and x0 < x1 and y0 < y1):
                raise PlanError(f"({x0}, {y0}) to ({x1}, {y1}) is no window of a bed.")
        for p in self.lying:
            if not np.isfinite([p.angle, p.x, p.y]).all():
                raise PlanError(f"'{p.id}' lies at angle {p.angle}, ({p.x}, {p.y}): no place.")
        if len(self.by_id) != len(self.wanted):
            raise PlanError("two wanted parts share one id.", mend="Give each its own.")
        if self.drawn and len(self.drawn) != len(self.lying):
            raise PlanError(f"{len(self.drawn)} parts drawn, {len(self.lying)} placed.")

    @classmethod
    def of(
        cls,
        job: Job,
        hide: Hide,
        placements: Iterable[Placement],
        *,
        left_out: Sequence[str] = (),
        budget: str = "",
        bed_windows: tuple[Box, ...] = (),
        remarks: tuple[str, ...] = (),
    ) -> Plan:
        """Make the plan of a job on a hide; placements are rounded as the file will hold them."""
        lie = [p.rounded() for p in placements]
        wanted = job.parts
        cautions = [k.caution for k in job.kits if k.caution and k.id not in left_out]
        if hide.thickness.unknown(hide.polygon).is_empty:  # then it makes no difference
            wanted = tuple(replace(one, need=replace(one.need, unknown=False)) for one in wanted)
        return cls(
            name=job.name,
            wanted=wanted,
            hide_name=hide.name,
            hide_sha256=hide.sha256,
            hide_file=hide.source.name if hide.source else "",
            placements=tuple(p for p in lie if p.id not in job.cut),
            cut=tuple(p for p in lie if p.id in job.cut),
            gap=job.gap,
            edge_margin=job.edge_margin,
            keep=job.keep,
            seed=job.seed,
            budget=budget,
            left_out=tuple(left_out),
            bed_windows=bed_windows,
            remarks=(*dict.fromkeys(cautions), *job.remarks, *remarks),
        )

    @property
    def thickness_known(self) -> bool:
        """False where the user let parts lie on leather whose thickness nobody knows."""
        return not any(wanted.need.unknown for wanted in self.wanted)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What whoever cuts must know, a sentence each."""
        unknown = () if self.thickness_known else (f"{': '.join(UNKNOWN_THICKNESS)}.",)
        return (*unknown, *self.remarks)

    @property
    def by_id(self) -> dict[str, Wanted]:
        """The wanted parts by their id."""
        return {wanted.id: wanted for wanted in self.wanted}

    @property
    def lying(self) -> tuple[Placement, ...]:
        """Where all parts lie or lay: those to cut, then those that are cut already."""
        return (*self.placements, *self.cut)

    @property
    def expected(self) -> tuple[Wanted, ...]:
        """The parts that must lie there to be cut: all wanted but those cut already and those of
        kits left out.
        """
        cut = {placement.id for placement in self.cut}
        return tuple(
            wanted
            for wanted in self.wanted
            if wanted.kit not in self.left_out and wanted.id not in cut
        )


def placed_outline(plan: Plan, placement: Placement) -> Outline:
    """Return a part's outline in the hide's frame.

    Raises
    ------
    PlanError : the plan has no definition for the placement's id.
    """
    wanted = plan.by_id.get(placement.id)
    if wanted is None:
        raise PlanError(f"the plan places '{placement.id}', which it does not define.")
    return placement.outline_of(wanted.part)


def leather_left(plan: Plan, hide: Hide) -> BaseGeometry:
    """The hide's leather, mm in its frame, without what is cut already."""
    gone = [placed_outline(plan, placement).polygon for placement in plan.cut]
    return hide.polygon.difference(shapely.union_all(gone)) if gone else hide.polygon
