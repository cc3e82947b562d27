"""Settings that must stand before a test imports numpy, and examples that stay the same."""

import os

# The workers of pytest-xdist fill the cores; threads of BLAS beside them only wait for each other,
# and waiting is half of what they then compute (measured on the tests of thickness).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from hypothesis import settings

# The same examples on every run: what fails must fail again. Run with --hypothesis-profile=default
# now and then, to look for new ones.
settings.register_profile("same", derandomize=True)
settings.load_profile("same")
