"""Imports run one way: each module may import only those above it in one list.

The list is the architecture. A new module gets its line where it belongs, or shares its
package's; a module that is in the wrong place, imports late to hide a cycle, or imports for
type checks only, fails here.
"""

import ast
import json

import pytest

from tests.places import ROOT

LAYERS = (
    # leather; knows nothing of knives, plans or cutters
    "hides.errors",
    "hides.files",
    "hides.syntax",
    "hides.units",
    "hides.outline",
    "hides.keys",
    "hides.table",
    "hides.geojson",
    "hides.trace",
    "hides.flaws",
    "hides.thickness",
    "hides.stretch",
    "hides.whole",
    "hides.hide",
    "hides.piece",
    "hides.record",
    "hides.remarks",
    "hides.label",
    "hides.capture",
    "hides.measured",
    "hides.flawtable",
    "hides.amend",
    "hides.capture.pipeline",
    "hides",
    # the work
    "nest.errors",
    "nest.compiled",
    "nest.part",
    "nest.knife",
    "nest.sheaths",
    "nest.job",
    "nest.plans.model",
    "nest.plans.letters",
    "nest.plans.bed",
    "nest.plans.file",
    "nest.plans",
    "nest.week",
    "nest.resume",
    "nest.checker",
    "nest.bound",
    # the search
    "nest.place.kernels",
    "nest.place.shapes",
    "nest.place.compact",
    "nest.place.search",
    "nest.place.solve",
    "nest.place",
    # which kits on which hide
    "nest.assign.capacity",
    "nest.assign.proposal",
    "nest.assign.trial",
    "nest.assign",
    # what is shown and written
    "nest.leftover",
    "nest.figures",
    "nest.planning",
    "nest.draw",
    # the cutters
    "nest.cutter.machine",
    "nest.cutter.caution",
    "nest.cutter.polyline",
    "nest.cutter.contour",
    "nest.cutter.kerf",
    "nest.cutter.exchange",
    "nest.cutter.route",
    "nest.cutter.cover",
    "nest.cutter.setups",
    "nest.cutter.stroke",
    "nest.cutter.blade",
    "nest.cutter.program",
    "nest.cutter.formats",
    "nest.cutter.reckoning",
    "nest.cutter.readback",
    "nest.cutter",
    "nest.cutting",
    "nest.report",
    "nest.explained",
    "nest.starter",
    # the public door, and the command behind it
    "nest.answers",
    "nest.output",
    "nest",
    "nest.cli",
    "nest.__main__",
)
# `import nest` and `croupon --help` must answer at once, so the public door imports inside its
# functions, and for their annotations; only the command imports it, so that can't hide a cycle.
LATE = {"nest"}
ANNOTATED = {"nest", "nest.cli.plan", "nest.cli.watch"}  # import for annotations only
# Modules whose libraries take long to load and that most runs don't need may be asked for inside
# a function. They must lie before the module that asks, so that this can't hide a cycle either.
SLOW = {"hides.trace.dxf", "nest.assign.proposal"}
OURS = ("hides", "nest")


def name_of(path):
    """nest/cutter/order.py is nest.cutter.order, nest/place/__init__.py is nest.place."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def modules():
    """Every module's name and syntax tree."""
    paths = sorted(path for folder in OURS for path in (ROOT / folder).rglob("*.py"))
    return {name_of(path): ast.parse(path.read_text(encoding="utf-8")) for path in paths}


MODULES = modules()


def line_of(name):
    """The line of the list a module belongs to: its own, or that of its package."""
    while name not in LAYERS and "." in name:
        name = name.rpartition(".")[0]
    return name


def layer_of(name):
    return LAYERS.index(line_of(name))


def imported(node, known):
    """Names of our own modules that an import statement asks for."""
    if isinstance(node, ast.Import):
        names = [alias.name for alias in node.names]
    elif isinstance(node, ast.ImportFrom):
        assert node.level == 0, f"line {node.lineno}: write the module's full name"
        whole = [f"{node.module}.{alias.name}" for alias in node.names]
        names = [name if name in known else node.module for name in whole]
    else:
        return []
    return [name for name in names if name.split(".")[0] in OURS]


def breaches(name, tree, known):
    """What a module does that the rules forbid, one sentence each."""
    found = []
    top = {id(node) for node in tree.body}
    for node in ast.walk(tree):
        named = {getattr(node, key, "") for key in ("id", "attr", "name")}
        if "TYPE_CHECKING" in named and name not in ANNOTATED:
            found.append(f"{name}: imports for type checks only are breaches")
        if not isinstance(node, ast.Import | ast.ImportFrom):
            continue
        late = id(node) not in top and name not in LATE
        free = SLOW | ({"nest"} if name in ANNOTATED else set())
        if late and not (isinstance(node, ast.ImportFrom) and node.module in free):
            found.append(f"{name}, line {node.lineno}: late import")
        for other in imported(node, known):
            if other == name or layer_of(other) > layer_of(name):
                found.append(f"{name}, line {node.lineno}: imports {other}, which comes later")
    return found


def ring_in(asks):
    """Take away what asks for nothing left, until nothing more goes; what stays asks in a ring."""
    while free := [name for name, others in asks.items() if not others & set(asks)]:
        asks = {name: others for name, others in asks.items() if name not in free}
    return sorted(asks)


def test_every_module_has_its_place():
    """A module that has no line, nor its package, can't be judged."""
    assert [name for name in MODULES if line_of(name) in OURS and name not in OURS] == []


@pytest.mark.parametrize("name", MODULES)
def test_imports_run_one_way(name):
    """No import of a later module, no late import, no import for type checks."""
    assert breaches(name, MODULES[name], MODULES) == []


@pytest.mark.parametrize("line", LAYERS)
def test_modules_that_share_a_line_have_no_ring(line):
    """Inside a package with one line the order is its own, but there must be one."""
    inner = {name for name in MODULES if line_of(name) == line}
    asks = {
        name: {o for node in ast.walk(MODULES[name]) for o in imported(node, MODULES)} & inner
        for name in inner
    }
    assert ring_in(asks) == []


def test_a_ring_is_seen():
    """a and b ask for each other; c only asks for them, d for nothing."""
    asks = {"a": {"b"}, "b": {"a", "d"}, "c": {"a"}, "d": set()}
    assert ring_in(asks) == ["a", "b", "c"]
    assert ring_in({"a": {"b"}, "b": {"d"}, "d": set()}) == []


def test_hides_knows_nothing_of_nest():
    for name, tree in MODULES.items():
        if name.split(".")[0] == "hides":
            others = [o for node in ast.walk(tree) for o in imported(node, MODULES)]
            assert [o for o in others if o.startswith("nest")] == [], name


def test_the_checker_shares_nothing_with_the_search():
    """It may know the data of leather, parts and plans, shapely and numpy, and nothing more."""
    asked = {o for node in ast.walk(MODULES["nest.checker"]) for o in imported(node, MODULES)}
    allowed = {"hides.flaws", "hides.hide", "hides.outline", "hides.thickness"}
    assert asked <= allowed | {"nest.part", "nest.job", "nest.plans"}
    roots = {
        alias.name.split(".")[0] if isinstance(node, ast.Import) else node.module.split(".")[0]
        for node in ast.walk(MODULES["nest.checker"])
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
    }
    assert roots <= {"__future__", "collections", "dataclasses", "enum", "hides", "nest",
                     "numpy", "shapely"}  # fmt: skip


def test_who_reads_files_back_shares_nothing_with_who_wrote_them():
    """A reader built on the writer's code would make the writer's mistakes."""
    readers = [name for name in MODULES if name.startswith("nest.cutter.readback.")]
    asked = {o for name in readers for n in ast.walk(MODULES[name]) for o in imported(n, MODULES)}
    assert [name for name in asked if name.startswith("nest.cutter.formats")] == []


def test_cutting_knows_nothing_of_the_search():
    """A plan is enough to cut from, whoever made it."""
    for name, tree in MODULES.items():
        if name.startswith("nest.cutter"):
            others = [o for node in ast.walk(tree) for o in imported(node, MODULES)]
            assert [o for o in others if o.startswith(("nest.place", "nest.assign"))] == [], name


def test_a_bound_knows_nothing_of_the_search():
    """What no plan can beat must not rest on how plans are looked for."""
    for name, tree in MODULES.items():
        if name.startswith("nest.bound"):
            others = [o for node in ast.walk(tree) for o in imported(node, MODULES)]
            assert [o for o in others if o.startswith("nest.place")] == [], name


def test_the_command_goes_by_the_public_door_only():
    """What a verb can do, a script can do; argparse stays with the command."""
    for name, tree in MODULES.items():
        asked = [o for node in ast.walk(tree) for o in imported(node, MODULES)]
        if name.startswith("nest.cli"):
            assert [o for o in asked if o != "nest" and not o.startswith("nest.cli")] == [], name
        else:
            assert "argparse" not in ast.unparse(tree), name
            assert name == "nest.__main__" or not [o for o in asked if o.startswith("nest.cli")]


def test_the_notebooks_go_by_the_public_door_only():
    for path in (ROOT / "notebooks").glob("*.ipynb"):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        code = "\n".join("".join(c["source"]) for c in cells if c["cell_type"] == "code")
        asked = [o for n in ast.walk(ast.parse(code)) for o in imported(n, MODULES)]
        assert set(asked) == {"nest"}, path.name


def test_the_checker_never_asks_for_the_searchs_ground():
    """What the search takes for allowed must not be what it is judged by."""
    asked = {n.attr for n in ast.walk(MODULES["nest.checker"]) if isinstance(n, ast.Attribute)}
    assert not asked & {"ground", "allowed", "allowed_area", "usable_area"}


@pytest.mark.parametrize(
    ("name", "source", "says"),
    [
        ("hides.flaws", "from hides.hide import Hide", "imports hides.hide, which comes later"),
        ("hides.hide", "import nest.part", "imports nest.part, which comes later"),
        ("nest.checker", "from nest.place import search", "imports nest.place.search"),
        ("nest.plans.model", "from nest import checker", "imports nest.checker"),
        ("nest.draw.sheet", "import nest.report.page", "imports nest.report.page"),
        ("hides.hide", "def f():\n    import numpy", "line 2: late import"),
        ("hides.hide", "if True:\n    from hides.flaws import bars", "line 2: late import"),
        (
            "nest.plans.file",
            "def f():\n    from nest.assign.proposal import propose",
            "comes later",
        ),
        ("hides.hide", "from typing import TYPE_CHECKING", "for type checks only"),
        ("hides.hide", "import typing\nif typing.TYPE_CHECKING: pass", "for type checks only"),
        ("nest.part", "import nest.part", "imports nest.part"),
    ],
)
def test_a_breach_is_seen(name, source, says):
    """The rules above can fail: each kind of breach, in a module made up for it."""
    known = {*MODULES, "nest.report.page", "nest.checker"}
    found = breaches(name, ast.parse(source), known)
    assert any(says in sentence for sentence in found), found


@pytest.mark.parametrize(
    ("name", "source"),
    [
        ("nest.checker", "from hides.hide import Hide\nfrom nest import plans"),
        ("nest", "def plan():\n    from nest.place import place"),
        ("nest.assign.fill", "def fill():\n    from nest.assign.proposal import propose"),
        ("nest", "from typing import TYPE_CHECKING"),
        ("nest.draw.sheet", "from nest.draw.palette import INK\nimport hides.outline"),
        ("hides.units", "import re\nfrom hides.errors import InputError"),
    ],
)
def test_what_is_allowed_is_no_breach(name, source):
    assert breaches(name, ast.parse(source), {*MODULES, "nest.plans"}) == []
