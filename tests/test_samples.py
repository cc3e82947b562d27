"""What holds for all that lies in shared/ together."""

import json
import tomllib
from collections import Counter

from tests.places import ROOT

FILES = sorted(path for kind in ("json", "toml") for path in (ROOT / "shared").glob(f"*/*.{kind}"))


def test_no_two_samples_share_a_name():
    """Neither a file's own nor the one that is written in it: who says Birch means one thing."""
    names = Counter()
    for path in FILES:
        read = json.loads if path.suffix == ".json" else tomllib.loads
        table = read(path.read_text())
        names.update({path.name.split(".")[0].lower(), table.get("name", path.name).lower()})
    assert len(FILES) > 12
    assert [name for name, count in names.items() if count > 1] == []
