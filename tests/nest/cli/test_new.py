"""``croupon new`` says what to do next, in words that a shell takes as they are."""

import json
import shlex

from nest.cli import main


def test_the_next_command_holds_a_name_with_a_space_together(tmp_path, capsys):
    assert main(["new", "knife", "Mein Messer", "--out", str(tmp_path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["next"]
    assert shlex.split(told)[2:] == [str(tmp_path / "Mein Messer.knife.toml")]
