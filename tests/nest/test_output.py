"""Files of an answer: all or none, whatever goes wrong, and nothing replaced unasked."""

import errno
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from hides.errors import InputError
from nest import output
from nest.output import aside_in, refuse_taken, save
from tests.places import ROOT

FILES = {"a.txt": b"new a", "b.txt": b"new b", "c.txt": b"new c"}


def content(folder):
    """Everything below a folder, by relative name."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_files_are_written_into_a_folder_that_is_made(tmp_path):
    folder = tmp_path / "Größe 3" / "out"
    assert save(FILES, folder) == [folder / name for name in FILES]
    assert content(folder) == FILES


def test_what_is_there_stays_unless_it_may_be_replaced(tmp_path):
    """One file in the way stops all; with force all are replaced and others left alone."""
    (tmp_path / "b.txt").write_bytes(b"old b")
    (tmp_path / "other.txt").write_bytes(b"mine")
    with pytest.raises(InputError, match=r"b\.txt: this is there already.*--force"):
        save(FILES, tmp_path)
    assert content(tmp_path) == {"b.txt": b"old b", "other.txt": b"mine"}
    save(FILES, tmp_path, force=True)
    assert content(tmp_path) == FILES | {"other.txt": b"mine"}


@pytest.mark.parametrize("after", [0, 1, 2])
@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left on device"),
                                   KeyboardInterrupt()])  # fmt: skip
def test_a_full_disk_or_an_interrupt_leaves_what_was_there(after, error, tmp_path, monkeypatch):
    """The k-th file can't be moved into its place: those before it are taken back."""
    before = {"a.txt": b"old a", "c.txt": b"old c"}
    for name, data in before.items():
        (tmp_path / name).write_bytes(data)
    replace, moved = Path.replace, []

    def failing(self, target):
        if self.parent.name == "new":
            if len(moved) == after:
                raise error
            moved.append(target)
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", failing)
    with pytest.raises((InputError, KeyboardInterrupt)) as raised:
        save(FILES, tmp_path, force=True)
    assert content(tmp_path) == before
    if isinstance(error, OSError):
        assert "nothing was written: No space left on device" in str(raised.value)


def test_what_must_not_stay_is_set_aside_with_what_is_replaced(tmp_path):
    """Each time in a folder of its own; other files are left alone."""
    (tmp_path / "b.txt").write_bytes(b"old b")
    (tmp_path / "d.txt").write_bytes(b"old d")
    (tmp_path / "other.txt").write_bytes(b"mine")
    with pytest.raises(InputError, match=r"there already"):
        save(FILES, tmp_path, earlier=["d.txt"])
    with pytest.raises(InputError, match=r"d\.txt: of an earlier.*earlier-1 with --force"):
        save({"a.txt": b"new a"}, tmp_path, earlier=["d.txt"])
    save(FILES, tmp_path, force=True, earlier=["d.txt"])
    aside = {"earlier-1/b.txt": b"old b", "earlier-1/d.txt": b"old d"}
    assert content(tmp_path) == FILES | aside | {"other.txt": b"mine"}
    assert aside_in(tmp_path) == tmp_path / "earlier-2"


@pytest.mark.parametrize("after", [0, 1])
def test_what_can_not_be_set_aside_stays_as_it_was(after, tmp_path, monkeypatch):
    """The k-th file can't be moved: all are back, and no folder is left."""
    before = {"a.txt": b"old a", "d.txt": b"old d", "e.txt": b"old e"}
    for name, data in before.items():
        (tmp_path / name).write_bytes(data)
    rename, moved = Path.rename, []

    def failing(self, target):
        if self.suffix == ".txt":
            if len(moved) == after:
                raise OSError(errno.EACCES, "Permission denied")
            moved.append(target)
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", failing)
    with pytest.raises(InputError, match="nothing was written: Permission denied"):
        save(FILES, tmp_path, force=True, earlier=["d.txt", "e.txt"])
    assert content(tmp_path) == before
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(before)


def test_a_disk_that_fills_while_writing_leaves_nothing(tmp_path, monkeypatch):
    """Neither files nor the folder that was made for them, nor anything temporary."""
    write = Path.write_bytes

    def failing(self, data):
        if self.name == "b.txt":
            raise OSError(errno.ENOSPC, "No space left on device")
        return write(self, data)

    monkeypatch.setattr(Path, "write_bytes", failing)
    with pytest.raises(InputError, match="No space left"):
        save(FILES, tmp_path / "deep" / "out")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["../a.txt", "deep/a.txt", ""])
def test_a_name_is_a_name_and_no_path(name, tmp_path):
    with pytest.raises(InputError, match="no name for a file"):
        save({name: b""}, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_in_a_files_place_is_never_replaced(tmp_path):
    (tmp_path / "a.txt").mkdir()
    with pytest.raises(InputError, match="there already"):
        save(FILES, tmp_path, force=True)


def test_what_stands_in_the_way_is_told_before_the_work(tmp_path):
    (tmp_path / "b.txt").write_bytes(b"old")
    refuse_taken(tmp_path, ["a.txt"])
    refuse_taken(tmp_path, ["b.txt"], force=True)
    refuse_taken(tmp_path / "not" / "there", ["b.txt"])
    with pytest.raises(InputError, match="there already"):
        refuse_taken(tmp_path, ["a.txt", "b.txt"])
    with pytest.raises(InputError, match="this is a file"):
        refuse_taken(tmp_path / "b.txt" / "deeper", ["a.txt"])


KILLED = """
import os, signal
from pathlib import Path
from nest.output import save
replace = Path.replace
def struck(self, target):
    os.kill(os.getpid(), signal.SIGKILL)
Path.replace = struck
save({"a.txt": b"new a"}, {folder!r}, force=True)
"""


@pytest.mark.skipif(os.name != "posix", reason="asks the system whether a process runs")
def test_what_a_killed_run_leaves_is_cleared_by_the_next_and_nothing_else(tmp_path):
    """A real process, killed while it writes; folders of runs that live, or not ours, stay."""
    script = KILLED.replace("{folder!r}", repr(str(tmp_path)))
    killed = subprocess.run([sys.executable, "-c", script], check=False, cwd=ROOT)
    assert killed.returncode == -signal.SIGKILL
    (left,) = tmp_path.glob(".croupon-*")
    dead = left.name.removeprefix(output._OURS).split("-")[0]
    alive = tmp_path / f"{output._OURS}{os.getpid()}-abc"
    (alive / "new").mkdir(parents=True)
    strange = tmp_path / f"{output._OURS}{dead}-mine"
    strange.mkdir()
    (strange / "diary.txt").write_text("not theirs")
    elsewhere = tmp_path / f".croupon-elsewhere-{dead}-abc"
    elsewhere.mkdir()
    save(FILES, tmp_path)
    assert not left.exists()
    assert {path.name for path in tmp_path.glob(".croupon-*")} == {
        alive.name, strange.name, elsewhere.name,
    }  # fmt: skip
