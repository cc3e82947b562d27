"""What we know of a piece of leather.

Units and axes, said once for the whole project: millimetres, square millimetres,
degrees counter-clockwise, seconds. A hide lies grain side up; x runs along the
backbone from the tail root (0) towards the neck, y from the backbone (0) to the
belly. Areas are shown in dm² and ft² (1 ft² = 9.290304 dm², exact), but kept in mm².

``hides`` knows nothing of knives, plans or cutters; ``nest`` imports it, never
the reverse.
"""
