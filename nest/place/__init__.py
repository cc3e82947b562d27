"""The solver: where on the hide each part goes.

``shapes`` prepares parts and ground as arrays, ``kernels`` holds the compiled loops,
``search`` moves parts until nothing overlaps and the frontier is as near as it gets,
``solve`` connects all of it to jobs and hides.
"""
