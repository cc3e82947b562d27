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

COMPILES = not vars(config)["DISABLE_JIT"]  # False: plain Python, for a debugger


def kernel(function):
    """Compile a loop without exceptions for division by zero, as numpy counts.

    What is cached is made anew as soon as any file of this package has changed, or any of the
    folder that the loop's own file lies in.
    """
    made: Any = njit(cache=True, nogil=True, error_model="numpy")(function)
    if COMPILES:
        folders = Path(__file__).parent, Path(function.__code__.co_filename).parent
        made._cache._cache_file._source_stamp = tuple(_digest(folder) for folder in folders)
    return made


@cache
def _digest(folder: Path) -> str:
    """Digest of all sources of a folder."""
    digests = [sha256(path.read_bytes()).digest() for path in sorted(folder.glob("*.py"))]
    return sha256(b"".join(digests)).hexdigest()
