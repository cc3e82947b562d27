"""One decorator for all compiled loops, whose cached code is never older than its sources.

Numba keeps compiled code beside each file and makes it anew when that file has changed. But
a loop holds the code of those it calls, too, and these lie in other files.
"""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from numba import config, njit

# What every loop depends on beside its own folder: this file, and a rule that the bound's hold.
EVERYWHERE = (Path(__file__), Path(__file__).with_name("part.py"))
COMPILES = not vars(config)["DISABLE_JIT"]  # False: plain Python, for a debugger


def kernel(function):
    """Compile a loop without exceptions for division by zero, as numpy counts.

    What is cached is made anew as soon as any file of the folder that the loop's own lies in has
    changed, or one of :data:`EVERYWHERE`.
    """
    made: Any = njit(cache=True, nogil=True, error_model="numpy")(function)
    if COMPILES:
        made._cache._cache_file._source_stamp = _digest(Path(function.__code__.co_filename).parent)
    return made


@cache
def _digest(folder: Path) -> str:
    """Digest of all sources of a folder, and of those that count everywhere."""
    files = (*EVERYWHERE, *sorted(folder.glob("*.py")))
    digests = [sha256(path.read_bytes()).digest() for path in files]
    return sha256(b"".join(digests)).hexdigest()
