"""Cached code is never older than its sources, and a debugger can walk through all of it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

from tests.places import ROOT

# A short loop, which has the generator's code in it from another file.
ASK = """
import numpy as np
from nest.place.kernels.random import shuffle
order = np.arange(5)
shuffle(order, 5, np.ones(1, np.uint64))
print(order.tolist(), sum(shuffle.stats.cache_hits.values()))
"""
SMALL = (
    "test_simd.py",
    "test_poses.py",
    "test_ground.py",
    "test_overlap.py::test_depth_of_convex_shapes_is_the_least_translation_apart",
)


def asked(folder: Path) -> list[str]:
    environment = {**os.environ, "PYTHONPATH": str(folder)}
    run = [sys.executable, "-c", ASK]
    told = subprocess.run(run, cwd=folder, env=environment, capture_output=True, text=True)
    assert told.returncode == 0, told.stderr
    return told.stdout.rsplit(" ", 1)


def test_code_that_another_file_was_put_into_is_compiled_again(tmp_path: Path) -> None:
    """Unchanged it comes out of the cache; a constant of another file counts at once."""
    kernels = tmp_path / "nest/place/kernels"
    kernels.mkdir(parents=True)
    for name in ("compiled.py", "part.py", "place/kernels/__init__.py", "place/kernels/random.py"):
        shutil.copy(ROOT / "nest" / name, tmp_path / "nest" / name)
    generator = (kernels / "random.py").read_text(encoding="utf-8")
    shuffling = generator.index("@kernel\ndef shuffle")
    head = "from nest.compiled import kernel\n"
    (kernels / "random.py").write_text(
        head + "from nest.place.kernels.numbers import next_random\n\n\n" + generator[shuffling:]
    )
    (kernels / "numbers.py").write_text(generator[:shuffling])
    first, hits = asked(tmp_path)
    assert int(hits) == 0
    again, hits = asked(tmp_path)
    assert again == first
    assert int(hits) == 1
    changed = generator[:shuffling].replace("np.uint64(12)", "np.uint64(13)")
    assert changed != generator[:shuffling]
    (kernels / "numbers.py").write_text(changed)
    other, hits = asked(tmp_path)
    assert other != first
    assert int(hits) == 0


def test_small_tests_pass_where_nothing_is_compiled() -> None:
    """What stands for the compiled types in plain Python gives what they give."""
    here = ROOT / "tests/nest/place/kernels"
    run = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider"]
    told = subprocess.run(
        [*run, *(str(here / name) for name in SMALL)],
        cwd=ROOT,
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
    )
    assert told.returncode == 0, told.stdout
    assert " passed" in told.stdout
