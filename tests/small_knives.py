"""Simple knives whose measures can be followed by eye; the tests change one thing each.

::

      y 30 +------------------+-----------------------____
           |      handle      |  blade, its back straight  `-.   tip (220, 27)
         4 +------------------+---------------------___----'
         0   x = 0          110                  180
"""

import numpy as np

from nest.knife import Knife, knife_from

PLAIN = np.array(
    [(0, 4), (110, 4), (110, 2), (180, 2), (200, 8), (213, 17), (220, 27), (190, 30), (0, 30)],
    dtype=float,
)


def knife(**changes) -> Knife:
    """The knife of the picture: 220 mm, guard at 110, edge down in the drawing, y up."""
    about = {
        "name": "Plain",
        "length": 220.0,
        "tip": (220, 27),
        "butt": (0, 27),
        "edge": (150, 0),
        "guard": 110.0,
        "blade_thickness": 3.0,
        "handle_thickness": 18.0,
    }
    return knife_from(**{"drawing": PLAIN, **about, **changes})
