"""The tables of keys in the READMEs; `python -m tests.readmes` writes them anew from the code.

A table stands between ``<!-- keys: week [[sheath]] -->``, which names the kind of file and the
table in it, and ``<!-- end -->``.
"""

import re

from nest.explained import FILES, markdown
from tests.places import ROOT

BLOCK = re.compile(r"(<!-- keys: (\w+)(?: ([\[\]\w]+))? -->\n).*?(<!-- end -->)", re.DOTALL)
TABLES = {(file.name, title): keys for file in FILES for title, keys in file.tables.items()}
PATHS = sorted((ROOT / "shared").glob("*/README.md"))


def asked(text):
    """Which tables a README has."""
    return [(name, title) for _, name, title, _ in BLOCK.findall(text)]


def filled(text):
    """A README with its tables as the code has them."""
    return BLOCK.sub(_table, text)


def _table(found):
    head, name, title, end = found.groups(default="")
    return f"{head}{markdown(TABLES[name, title])}\n{end}"


if __name__ == "__main__":
    for path in PATHS:
        path.write_text(filled(path.read_text()))
