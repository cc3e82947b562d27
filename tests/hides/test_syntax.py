"""What a user is told whose TOML or JSON can't be read: the line, and what to write instead."""

import pytest

from hides.errors import InputError
from hides.geojson import parse
from hides.keys import read_table

GOOD = 'name = "Heron"\n'


@pytest.mark.parametrize(
    ("line", "cause"),
    [
        ("length = 232,5", "Numbers have a point, no comma: 232.5."),
        ("length = 232 mm", "millimetres are meant: 232."),
        ("length = 232mm  # whole", "millimetres are meant: 232."),
        ("length = 9 in", "A number stands without its unit (in)"),
        ("length = 9.1 inches", "A number stands without its unit (inches)"),
        ("leather = 8-9 oz", "A range is a list: [8, 9]."),
        ("leather = 3.2-3.5", "A range is a list: [3.2, 3.5]."),
        ("outline = heron.svg", 'A text stands in quotes: "heron.svg".'),
        ("hand = left  # hip", 'A text stands in quotes: "left".'),
        ('hides = [birch.hide.json, "b"]', 'A text stands in quotes: "birch.hide.json".'),
        ("hand = “left”", 'Quotes are straight: "left".'),
        ('hand = "left', 'A quote " is missing.'),
        ("may_split = True", "Write true or false, in small letters."),
        ("may_split = yes", "Write true or false."),
        ("due = 16.4.2027", "A date is written year-month-day: 2027-04-16."),
        ("length: 232", "key = value"),
        ("[sheath", "A bracket ] is missing."),
        (r'outline = "knives\heron.svg"', r"Write / for \ in the names of folders."),
        ('name = "Pip"', "The key stands twice: keep one of them."),
        ("tip = [231,8, 40,1\nedge = [1, 2]", "A bracket ] or } is missing before this line."),
        ("length = = 3", "Is it the right file, and whole?"),
    ],
)
def test_a_slip_in_toml_is_told_with_its_line_and_cause(tmp_path, line, cause):
    """Written as the second line; what is asked for is what a maker would type by hand."""
    path = tmp_path / "a.knife.toml"
    path.write_text(GOOD + line + "\n")
    with pytest.raises(InputError, match="this is not TOML") as met:
        read_table(path, "knife")
    shown, number = (line, 2) if "\n" not in line else (line.split("\n")[1], 3)
    assert cause in str(met.value)
    assert f"in “{' '.join(shown.split())}”" in str(met.value)
    assert met.value.place == f"line {number}"


def test_a_table_that_stands_twice_is_told(tmp_path):
    path = tmp_path / "a.week.toml"
    path.write_text("[sheath]\ncount = 1\n[sheath]\ncount = 2\n")
    with pytest.raises(InputError, match=r"twice.*write \[\[sheath\]\] where") as met:
        read_table(path, "week")
    assert met.value.place == "line 3"


@pytest.mark.parametrize(
    ("line", "number", "cause"),
    [
        ('"thickness": 3,4', 3, "Numbers have a point, no comma: 3.4."),
        ('"thickness": 3.4 mm', 3, "millimetres are meant: 3.4."),
        ('"name": Birch', 3, 'A text stands in quotes: "Birch".'),
        ("'name': 1", 3, 'Quotes are double in JSON: "name".'),
        ('"a": [1, 2,]', 3, "Leave out the comma behind the last entry."),
        ('"a": 1,', 3, "Leave out the comma behind the last entry."),
        ('"a": 1 // mm', 3, "JSON has no comments: leave it out."),
        ('"a": 1\n"b": 2', 4, "A comma is missing before this."),
        ('"split": True', 3, "Write true or false, in small letters."),
    ],
)
def test_a_slip_in_json_is_told_with_its_line_and_cause(line, number, cause):
    """In an object, after another member."""
    text = f'{{\n"kind": "hide",\n{line}\n}}\n'
    with pytest.raises(InputError, match="this is not JSON") as met:
        parse(text.encode())
    assert cause in str(met.value)
    assert f"in “{line.splitlines()[-1]}”" in str(met.value)
    assert met.value.place == f"line {number}"


def test_a_file_that_ends_early_says_so():
    with pytest.raises(InputError, match="ends in the middle") as met:
        parse(b'{\n"kind": "hide",\n"features": [\n')
    assert met.value.place == "line 3"


def test_an_endless_line_is_shown_in_part():
    with pytest.raises(InputError) as met:
        parse(('{"a": [' + "1, " * 5000 + "oops]}").encode())
    assert len(str(met.value)) < 400
