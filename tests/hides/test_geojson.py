"""GeoJSON: strict reading, whole writing."""

import json
from pathlib import Path

import pytest
from shapely import Polygon, box

from hides.errors import InputError
from hides.files import write_whole
from hides.geojson import (
    LARGEST_FILE,
    Node,
    collection,
    feature,
    load,
    parse,
    rings_of,
    text_of,
)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not text in UTF-8"),
        (b"", "line 1: this is not JSON"),
        (b'{"a": 1,\n "b": }', "line 2: this is not JSON"),
        (b'{"a": 1, "a": 2}', "'a' stands twice"),
        (b"[" * 100_000, "nested too deeply"),
        (b"9" * 5000, "a number can't be read"),
    ],
)
def test_what_is_no_json_is_refused(data: bytes, says: str) -> None:
    """One error each, no traceback of the library's."""
    with pytest.raises(InputError, match=says):
        parse(data)


def test_a_byte_order_mark_is_no_fault() -> None:
    """Some editors write one."""
    assert parse(b'\xef\xbb\xbf{"a": 1}').get("a").number() == 1


def test_a_file_too_large_is_refused_before_it_is_read(tmp_path: Path) -> None:
    """A sparse file of 50 MB takes no time to refuse."""
    path = tmp_path / "big.json"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    with pytest.raises(InputError, match="50 MB, more than 20 MB"):
        load(path)
    assert LARGEST_FILE == 20_000_000


def test_a_missing_file_and_a_folder_are_told_apart(tmp_path: Path) -> None:
    """Each in one sentence."""
    with pytest.raises(InputError, match="no such file"):
        load(tmp_path / "none.json")
    with pytest.raises(InputError, match="can't be read"):
        load(tmp_path)


@pytest.mark.parametrize(
    ("value", "asks", "says"),
    [
        (True, "number", "must be a number, got true"),  # bool is an int in Python
        ("3", "number", 'must be a number, got "3"'),
        (1e9, "number", "from -100000 to 100000"),
        (float("inf"), "number", "from -100000 to 100000, got Infinity"),  # 1e999 in a file
        (float("nan"), "number", "from -100000 to 100000, got NaN"),
        (3, "text", "must be a text, got 3"),
        ("two\nlines", "text", "without line breaks"),
        ("\ud800", "text", "control characters"),  # can't be written as UTF-8
        ({}, "items", "must be a list"),
        ([[1, 2], [1, 2, 3]], "points", r"node\[1\]: must be two numbers"),
        ([[1, None]], "points", r"node\[0\]\[1\]: must be a number, got null"),
        ([[1, 2]], "line", "needs 2 points"),
        ([[1, 2], [1, 2]], "line", "no length"),
        ([], "rings", "no ring"),
        ([[[0, 0], [9, 0], [9, 9], [0, 9]]], "rings", "the ring is open"),
        ([[[0, 0], [9, 9], [9, 0], [0, 9], [0, 0]]], "rings", "crosses or touches itself"),
    ],
)
def test_a_value_of_the_wrong_sort_is_told_with_its_place(
    value: object, asks: str, says: str
) -> None:
    """Place first, then what was wanted and what was met."""
    with pytest.raises(InputError, match=says) as caught:
        getattr(Node(value, "node"), asks)()
    assert str(caught.value).startswith("node")


def test_holes_that_cross_the_edge_are_refused() -> None:
    """Shapely names the place."""
    outer, hole = box(0, 0, 100, 100), box(90, 40, 110, 60)
    rings = [[list(p) for p in shape.exterior.coords] for shape in (outer, hole)]
    with pytest.raises(InputError, match="its holes cross its edge"):
        Node(rings, "node").rings()


@pytest.mark.parametrize(
    ("top", "says"),
    [
        ([], "no GeoJSON FeatureCollection"),
        ({"type": "Feature"}, "no GeoJSON FeatureCollection"),
        ({"type": "FeatureCollection"}, '"croupon": {"kind": "hide", "version": 1}'),
        ({"croupon": {"kind": "plan", "version": 1}}, 'kind: must be "hide", got "plan"'),
        ({"croupon": {"kind": "hide", "version": 2}}, "version: must be 1, got 2"),
        ({"croupon": {"kind": "hide", "version": 1}}, "'features' is missing"),
    ],
)
def test_a_collection_of_another_kind_is_refused(top: object, says: str) -> None:
    """By kind and version, before its features are looked at."""
    value = {"type": "FeatureCollection", **top} if isinstance(top, dict) else top
    with pytest.raises(InputError, match=says):
        list(collection(Node(value), "hide", 1))


def test_near_misses_of_known_names_are_refused() -> None:
    """A typing slip must not pass for a member we don't know."""
    node = Node({"widht": 3, "stroke-width": 2, "colour": "red"}, "here")
    with pytest.raises(InputError, match=r"here: 'widht' is no known name\. Write 'width'\."):
        node.check_names(("width", "note"))
    Node({"stroke-width": 2, "width": 1}).check_names(("width", "note"))


def test_polygons_are_written_as_the_standard_wants_them() -> None:
    """RFC 7946, 3.1.6: closed rings, the outer counter-clockwise, the holes clockwise."""
    shape = Polygon(box(0, 0, 10, 10, ccw=False).exterior.coords, [box(2, 2, 4, 4).exterior.coords])
    outer, hole = rings_of(shape)
    assert outer[0] == outer[-1]
    assert hole[0] == hole[-1]
    assert Polygon(outer).exterior.is_ccw
    assert not Polygon(hole).exterior.is_ccw


def test_text_is_json_with_a_line_to_each_feature() -> None:
    """So that a change shows as one line in a comparison."""
    rows = [feature("reading", "Point", [at, 0.1], thickness=3.0, note="") for at in range(3)]
    text = text_of({"name": "Böhme"}, rows)
    assert json.loads(text)["features"] == rows
    assert "note" not in text
    assert [line for line in text.splitlines() if '"Feature"' in line][1].startswith('{"type"')
    assert "Böhme" in text


def test_writing_replaces_a_file_whole_or_not_at_all(tmp_path: Path) -> None:
    """A folder that isn't there is an error, and no half file stays behind."""
    path = tmp_path / "a.json"
    write_whole(path, "old")
    write_whole(path, "new")
    with pytest.raises(UnicodeEncodeError):
        write_whole(path, "half \ud800")
    assert path.read_text() == "new"
    assert [each.name for each in tmp_path.iterdir()] == ["a.json"]
    with pytest.raises(InputError, match="can't be written"):
        write_whole(tmp_path / "none" / "a.json", "text")
