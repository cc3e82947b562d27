"""Files written whole or not at all."""

from __future__ import annotations

from pathlib import Path

from hides.errors import InputError


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
