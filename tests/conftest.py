"""Settings that must stand before a test imports numpy."""

import os

# The workers of pytest-xdist fill the cores; threads of BLAS beside them only wait for each other,
# and waiting is half of what they then compute (measured on the tests of thickness).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
