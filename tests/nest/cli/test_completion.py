"""The completion script, asked by a shell as a user asks it."""

import shutil
import subprocess

import pytest

from nest.cli import main

pytest.importorskip("shtab", reason="is installed with the project")


@pytest.fixture
def script(capsys, tmp_path):
    def written(shell):
        assert main(["completion", shell]) == 0
        path = tmp_path / f"croupon.{shell}"
        path.write_text(capsys.readouterr().out)
        return path

    return written


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        (["pl"], ["plan"]),
        (["hide", "ga"], ["gauge"]),
        (["plan", "x.week.toml", "--sec"], ["--seconds"]),
        (["compare", "x.week.toml", "--hid"], ["--hide"]),
        (["hide", "show", "bir"], ["birch.hide.json"]),
    ],
)
def test_bash_completes_verbs_options_and_files(script, tmp_path, typed, offered):
    """The last word is half typed; bash asks the function that the script registers."""
    (tmp_path / "birch.hide.json").touch()
    path = script("bash")
    words = " ".join(["croupon", *typed])
    ask = (
        f"compopt() {{ :; }}; source {path}; COMP_WORDS=({words}); COMP_CWORD={len(typed)}; "
        f"$(complete -p croupon | sed 's/.*-F \\([^ ]*\\).*/\\1/') croupon {typed[-1]} ''; "
        'printf "%s\\n" "${COMPREPLY[@]}"'
    )
    done = subprocess.run(
        ["bash", "-c", ask], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == offered


@pytest.mark.skipif(not shutil.which("zsh"), reason="zsh is not installed")
def test_zsh_takes_its_script(script):
    subprocess.run(["zsh", "-n", script("zsh")], check=True)


def test_a_script_is_printed_for_zsh(script):
    assert script("zsh").read_text().startswith("#compdef croupon")
