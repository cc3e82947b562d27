"""What no plan can beat: the least leather that a set of parts needs on a hide.

Up to a frontier h (see :func:`nest.plans.keep_direction`) a hide has so much ground; the least h
that no argument rules out is a frontier no plan can better, and the hide's area up to it is the
bound. Three arguments are tried, and the strongest one counts:

* *Area*. Parts don't overlap, so each needs leather of its own; and not any leather: a region
  of a part may lie only where flaws don't bar its face and the thickness meets its need. Shapes
  are ignored. Ground that several sorts of region may use is counted once, and parts grown by
  half the gap are still disjoint, so the rim around each part counts too
  (:mod:`nest.bound.area`).
* *Alone*. No part lies nearer than it could were it alone on the hide: its shape must find
  sound and thick ground, turned as the leather stretches there (:mod:`nest.bound.alone`).
* *Reach*. Parts of one sort, or all large parts that need the same thickness, take at least
  their area from the ground that any of them could cover at all.

Every approximation goes the generous way, by the checker's tolerances and those of arcs,
contours and grids: a bound is never too high. What it does not know is how badly shapes fit
together, which is why real plans need more.

The straight frontier itself gives no further certain argument of use. A part with a round end
wastes leather at it, but welts, loops and the rims of parts may lie there, and a part's
admissible slides along the frontier cover all ground behind it.
"""

from nest.bound.area import Shortage, Sort
from nest.bound.frontier import FRONTIER_STEP, Bound, NoPlace, bound, used_area

__all__ = ["FRONTIER_STEP", "Bound", "NoPlace", "Shortage", "Sort", "bound", "used_area"]
