"""Files read whole up to a limit, and written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from hides.errors import InputError


def read_whole(path: Path, most: int, mend: str = "Is it the right file?") -> bytes:
    """The bytes of a file of at most ``most`` bytes; ``mend`` is what to do with a larger one.

    Raises
    ------
    InputError : there is no such file, or it can't be read, or it is larger.
    """
    try:
        with path.open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            data = file.read(most + 1) if size <= most else b""
    except FileNotFoundError:
        raise InputError(
            "there is no such file.", mend="Check its name and folder.", file=path
        ) from None
    except IsADirectoryError:
        what, mend = "this can't be read: it is a folder.", "Name a file in it."
        raise InputError(what, mend=mend, file=path) from None
    except OSError as error:
        raise InputError(
            f"the file can't be read ({error.strerror}).",
            mend="Check its name, and that you may read it.",
            file=path,
        ) from None
    size = max(size, len(data))  # of a pipe it is not known before
    if size > most:
        raise InputError(
            f"the file has {size / 1e6:.3g} MB, more than {most / 1e6:g} MB.",
            mend=mend,
            file=path,
        )
    return data


def write_whole(path: Path, data: bytes | str) -> None:
    """Put ``data`` (text as UTF-8) into ``path`` in one step: readers see the old file or the new.

    Raises
    ------
    InputError : the folder isn't there or can't be written to.
    """
    half = path.with_name(path.name + ".part")
    try:
        half.write_bytes(data.encode("utf-8") if isinstance(data, str) else data)
        half.replace(path)
    except OSError as error:
        raise InputError(
            f"can't be written ({error.strerror}).", mend="Check the folder.", file=path
        ) from None
    finally:
        half.unlink(missing_ok=True)
