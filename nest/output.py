"""One way out for files: all that belong to an answer are written, or none.

What was there before stays unless it may be replaced, and then either all of it is replaced or
nothing is: on a full disk, or when the run is stopped, the folder is as it was. What must not stay
beside the new files is set aside, and what they replace with it, so that an older set stays whole.
"""

from __future__ import annotations

import itertools
import os
import platform
import shutil
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from hides.errors import InputError

_OURS = f".croupon-{platform.node()}-"  # and the number of the process that writes


def save(
    files: Mapping[str, bytes],
    folder: Path | str,
    *,
    force: bool = False,
    earlier: Sequence[str] = (),
) -> list[Path]:
    """Write files, by their names, into a folder, which is made if it isn't there.

    Parameters
    ----------
    force : replace files that are there already, and set the ``earlier`` ones aside.
    earlier : names of files there that must not stay beside the new ones. They go to
        :func:`aside_in` the folder, with those that are replaced.

    Raises
    ------
    InputError : a file is there already and may not be replaced, or the folder can't be written.
    """
    folder = Path(folder)
    refuse_taken(folder, files, force=force, earlier=earlier)
    made = [path for path in (folder, *folder.parents) if not path.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _clear_dead(folder)
        with TemporaryDirectory(prefix=f"{_OURS}{os.getpid()}-", dir=folder) as beside:
            _write(files, folder, Path(beside), earlier)
    except OSError as error:
        what = f"nothing was written: {error.strerror or error}."
        mend = "Check the rights and the room left there, or name another folder."
        raise InputError(what, mend=mend, file=error.filename2 or folder) from None
    finally:
        for path in made:
            if path.is_dir() and not any(path.iterdir()):
                path.rmdir()
    return [folder / name for name in files]


def aside_in(folder: Path | str) -> Path:
    """The folder in which :func:`save` sets aside: the first free of earlier-1, earlier-2 …"""
    places = (Path(folder) / f"earlier-{number}" for number in itertools.count(1))
    return next(place for place in places if not place.exists())


def refuse_taken(
    folder: Path, names: Iterable[str], *, force: bool = False, earlier: Sequence[str] = ()
) -> None:
    """Say before the work what would stand in its way after it.

    Raises
    ------
    InputError : the folder is none or can't be written to, a name is no plain name of a file,
        a file is there already, or one of the ``earlier`` that must not stay beside the new.
    """
    near = next(path for path in (folder, *folder.absolute().parents) if path.exists())
    if not near.is_dir():
        what = "the results go to a folder, and this is a file."
        raise InputError(what, mend="Name a folder with --out.", file=near)
    for name in names:
        if not name or Path(name).name != name:
            raise InputError(f"{name!r} is no name for a file in a folder.", mend="Leave out '/'.")
        if (folder / name).is_dir() or ((folder / name).exists() and not force):
            what = "this is there already, and nothing was written."
            mend = "Name another folder (--out), or replace files with --force."
            raise InputError(what, mend=mend, file=folder / name)
    if earlier and not force:
        what = (
            f"{', '.join(earlier)}: of an earlier plan or cut, so the new files would lie beside "
        )
        what += "what does not belong to them, and nothing was written."
        mend = f"Name another folder (--out), or set them aside in {aside_in(folder)} with --force."
        raise InputError(what, mend=mend, file=folder)


def _clear_dead(folder: Path) -> None:
    """Remove the hidden folders of runs on this computer that were killed and could not."""
    if os.name != "posix":  # elsewhere asking whether a process runs may end it
        return
    for left in folder.glob(f"{_OURS}*"):
        number = left.name.removeprefix(_OURS).partition("-")[0]
        ours = left.is_dir() and {path.name for path in left.iterdir()} <= {"new", "old"}
        if ours and number.isdecimal() and not _runs(int(number)):
            shutil.rmtree(left, ignore_errors=True)


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)  # only asks
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:  # another user's
        return True
    return True


def _write(files: Mapping[str, bytes], folder: Path, beside: Path, earlier: Sequence[str]) -> None:
    """Write all new files and copy the old ones first; only then change anything in the folder."""
    new, old = beside / "new", beside / "old"
    new.mkdir()
    old.mkdir()
    for name, data in files.items():
        (new / name).write_bytes(data)
    for name in files:
        if (folder / name).exists():
            shutil.copy2(folder / name, old / name)
    moved: list[str] = []
    try:
        for name in files:
            moved.append(name)
            (new / name).replace(folder / name)
        if earlier:
            old = old.rename(aside_in(folder))
        for name in earlier:
            moved.append(name)
            (folder / name).rename(old / name)
    except BaseException:
        for name in moved:
            if (old / name).exists():
                (old / name).replace(folder / name)
            elif name in files and not (new / name).exists():
                (folder / name).unlink(missing_ok=True)
        if old.parent == folder:
            old.rmdir()
        raise
