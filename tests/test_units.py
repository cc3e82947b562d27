"""Every public docstring of something that takes or gives a number names the number's unit.

What takes or gives a number is told from annotations, so kernels, which have none, are left to
the table of their memory. Public is what has no leading underscore in its name, class or module.
A method may lean on its class, a dataclass on the comments beside its fields.
"""

import ast
import re

import pytest

from tests.places import ROOT

NUMBER = re.compile(r"float\d*|u?int\d*|floating|integer|ArrayLike|ndarray")
UNITS = (
    r"(mm|cm|dm|ft)[²³23]?|m²|kPa|(square )?(milli|centi|deci)?met(er|re)s?|inch|inches|foot|feet|"
    r"degrees?|rad|radians?|(?<=\d )s|ms|seconds?|minutes?|hours?|days?|px|pixels?|dpi|"
    r"dots per inch|oz|ounces?|money|currency|bytes?|MB|bits?|grey levels?"
)
PURE = (  # what a number without a unit is a number of
    r"shares?|factors?|fractions?|ratios?|per ?cent|percentage|from 0 to 1|0 to 255|s?RGB|CIELAB|"
    r"unit (vectors?|length)|count|counted|how (many|often)|numbers?|numbered|digits|decimals|"
    r"index|indexes|indices|chances?|probability|probabilities|(in|of) (standard )?deviations|"
    r"seed|version|digest|exit code"
)
NAMED = re.compile(rf"(?<!not a )(?<!\w)({UNITS}|{PURE})(?!\w)|[°%‰]", re.IGNORECASE)
COMMENT = re.compile(r"(?:^|\s)# (.*)$")


def is_public(name):
    return not any(part.startswith("_") for part in name.split("."))


def sources():
    """Text of every public module by its dotted name."""
    paths = sorted(path for folder in ("hides", "nest") for path in (ROOT / folder).rglob("*.py"))
    named = {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path in paths}
    named = {name.removesuffix(".__init__"): path for name, path in named.items()}
    return {name: p.read_text(encoding="utf-8") for name, p in named.items() if is_public(name)}


def names_in(node):
    """The last name of every dotted name in an annotation."""
    named = (getattr(each, "id", getattr(each, "attr", None)) for each in ast.walk(node))
    return {name for name in named if name}


def is_number(annotation, aliases):
    """Whether a number is anywhere in an annotation; masks and words in arrays are none."""
    names = names_in(annotation) if annotation else ()
    return any(name in aliases or NUMBER.fullmatch(name) for name in names)


def aliases_of(trees):
    """Names of types that stand for numbers, such as Box, wherever they are defined."""
    defined = [
        (node.targets[0].id, node.value)
        for tree in trees
        for node in tree.body
        if isinstance(node, ast.Assign)
        and isinstance(node.targets[0], ast.Name)
        and isinstance(node.value, ast.Subscript | ast.BinOp | ast.Name)
        and not any(isinstance(each, ast.Call | ast.Constant) for each in ast.walk(node.value))
    ]
    found = set()
    while new := {name for name, value in defined if is_number(value, found)} - found:
        found |= new
    return found


def annotations_of(node):
    """Annotations of all that a function takes and gives."""
    args = node.args
    every = [*args.posonlyargs, *args.args, args.vararg, *args.kwonlyargs, args.kwarg]
    return [arg.annotation for arg in every if arg] + [node.returns]


def parts_of(node):
    """Annotations that count for a class, and the text that may name their units."""
    fields = [each for each in node.body if isinstance(each, ast.AnnAssign)]
    made = [each for each in node.body if getattr(each, "name", "") == "__init__"]
    asked = [each.annotation for each in fields if is_public(ast.unparse(each.target))]
    texts = [ast.get_docstring(each) or "" for each in (node, *made)]
    return asked + [each for init in made for each in annotations_of(init)], fields, texts


def numbers_in(source, aliases):
    """(name, text that may name a unit) of all in a module that takes or gives a number."""
    lines, found = source.splitlines(), []

    def look(node, name, lent):
        text = f"{ast.get_docstring(node) or ''}\n{lent}"
        if any(is_number(each, aliases) for each in annotations_of(node)):
            found.append((name, text))

    for node in ast.parse(source).body:
        if not is_public(getattr(node, "name", "_")):
            continue
        if isinstance(node, ast.FunctionDef):
            look(node, node.name, "")
        elif isinstance(node, ast.ClassDef):
            asked, fields, texts = parts_of(node)
            if fields:
                beside = lines[fields[0].lineno - 1 : fields[-1].end_lineno]
                texts += [match[1] for line in beside if (match := COMMENT.search(line))]
            text = "\n".join(texts)
            if any(is_number(each, aliases) for each in asked):
                found.append((node.name, text))
            for each in node.body:
                if isinstance(each, ast.FunctionDef) and is_public(each.name):
                    look(each, f"{node.name}.{each.name}", text)
    return found


def lacking(found):
    return [name for name, text in found if not NAMED.search(text)]


SOURCES = sources()
ALIASES = aliases_of([ast.parse(source) for source in SOURCES.values()])
FOUND = {name: found for name, src in SOURCES.items() if (found := numbers_in(src, ALIASES))}


@pytest.mark.parametrize("module", FOUND)
def test_numbers_have_units(module):
    assert lacking(FOUND[module]) == []


MADE_UP = '''
Pair = tuple[float, float]
Flag = NDArray[np.bool_]

def wide(part: Part, by: float) -> Part:
    """The part, made wider."""

def fine(by: float = 1.0) -> None:
    """Wider by ``by`` mm."""

def area(of: Part) -> Pair:
    """Area."""

def masked(at: Flag) -> bool:
    """No number."""

def _hidden(by: float) -> None:
    """Private."""

@dataclass
class Bed:
    """What a cutter takes."""

    width: float
    height: float

    def turned(self, by: float) -> Bed:
        """Turned by degrees."""

    def grown(self, by: float) -> Bed:
        """Larger."""

@dataclass
class Sheet:
    """Paper."""

    width: float  # mm

    def grown(self, by: float) -> Bed:
        """Larger."""
'''


def test_a_missing_unit_is_seen():
    """Each way to lack one, and each way to have one, in a module made up for it."""
    found = numbers_in(MADE_UP, aliases_of([ast.parse(MADE_UP)]))
    assert [name for name, _ in found] == [
        *("wide", "fine", "area", "Bed", "Bed.turned", "Bed.grown", "Sheet", "Sheet.grown")
    ]
    assert lacking(found) == ["wide", "area", "Bed", "Bed.grown"]


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("Area in mm².", True),
        ("Turned by 3°.", True),
        ("As RGB.", True),
        ("How many parts.", True),
        ("The seconds that are left.", True),
        ("At most 20 s.", True),
        ("The depth that counts.", False),
        ("Not a number behind the camera.", False),
        ("Its points (n, 2) in the part frame.", False),
        ("The part's place in the hide, (m, 2).", False),
    ],
)
def test_words_that_name_a_unit(text, names):
    assert bool(NAMED.search(text)) == names
