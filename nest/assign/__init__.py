"""Which kits go on which hide.

``proposal`` shares counts of alike kits out by areas and costs, as ``capacity`` knows them of
each hide; ``trial`` has the search place them; ``reserve`` keeps a strap, and ``pins`` are what
the user placed; ``fill`` goes round until all, or the best of them, are placed.
"""

from nest.assign.fill import fill
from nest.assign.trial import Observer, Trials

__all__ = ["Observer", "Trials", "fill"]
