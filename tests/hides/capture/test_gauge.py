"""Gauge lists: names, units, decimals and stickers, each said or refused in one sentence."""

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hides.capture import targets
from hides.capture.gauge import covered, on_stickers, read, read_text
from hides.errors import InputError
from hides.thickness import MOST_READINGS


def values(text: str, **about: float) -> list[tuple[float, float, float]]:
    """(x, y, thickness) of each placed reading, rounded."""
    found = read_text(text, **about).placed
    return [(round(r.x, 3), round(r.y, 3), round(r.thickness, 4)) for r in found]


@pytest.mark.parametrize(
    "text",
    [
        "x,y,mm\n120,300,3.4\n950,80,3.1\n",  # as documented
        "X, Y, MM\r\n120, 300, 3.4\r\n950, 80, 3.1",  # capitals, blanks, no last line end
        "x;y;mm\n120;300;3,4\n950;80;3,1\n",  # as spreadsheets save it where commas are decimal
        "x\ty\tmm\n120\t300\t3.4\n950\t80\t3.1\n",
        'x,y,mm\n"120","300","3,4"\n"950","80","3,1"\n',
        "120,300,3.4\n950,80,3.1\n",  # no names
        "# alder side\n\nx,y,thickness (mm)\n120,300,3.4\n,,\n950,80,3.1,\n",
        "thickness_mm,note,y_mm,x_mm\n3.4,soft,300,120\n3.1,,80,950\n",  # any order
        "sep=;\nx;y;mm\n120;300;3.4\n950;80;3.1\n",
        "along [cm],across [cm],substance [cm]\n12,30,.34\n95,8,.31\n",
        "No;x;y;Stärke\n1;120;300;3,4\n2;950;80;3,1\n",
    ],
)
def test_a_list_is_read_however_it_was_saved(text: str) -> None:
    """All of these hold the same two readings."""
    assert values(text) == [(120.0, 300.0, 3.4), (950.0, 80.0, 3.1)]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("x;y;mm\n120;300;3,4\n", ["Decimal commas are read: '3,4' is 3.4."]),
        ("120,300,3.4\n", ["The columns have no names; they are read as x, y, thickness, in mm."]),
        ("x,y,in\n120,300,0.125\n", ["Thickness is given in inches: 0.125 in is 3.17 mm."]),
        ("x,y,oz\n120,300,8\n", ["Thickness is given in ounces: 8 oz is 3.17 mm."]),
        ("x in,y in,mm\n40,10,3.4\n", ["Places are given in inches: 40 in is 1016.00 mm."]),
        ("x,y,mm,note\n120,300,3.4,wet\n", ["Column 'note' is not used."]),
        ("x,y,mm\n120,300,3.4\n", []),  # nothing to say
    ],
)
def test_what_was_understood_is_said(text: str, says: list[str]) -> None:
    """Converted or assumed: one sentence each, and none where the list is plain."""
    assert list(read_text(text).says) == says


@pytest.mark.parametrize(
    ("unit", "value", "mm"),
    [
        ("in", "0.125", 3.175),  # 1 in = 25.4 mm, international yard and pound agreement 1959
        ("oz", "8", 3.175),  # ASTM D1814: 1 oz is 1/64 in
        ("iron", "7", 3.7042),  # ASTM D1814: 1 iron is 1/48 in
        ("cm", "0.34", 3.4),
        ("mm", "3.4", 3.4),
    ],
)
def test_units_of_thickness_are_those_of_their_definitions(
    unit: str, value: str, mm: float
) -> None:
    """Each unit that a column may name."""
    assert values(f"x,y,{unit}\n120,300,{value}\n") == [(120.0, 300.0, mm)]
    assert values(f"x,y,thickness ({unit})\n120,300,{value}\n") == [(120.0, 300.0, mm)]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("x,y,mm\n120,300,3,4\n", "line 2: the row has 4 cells where the first one has 3. Do comm"),
        ("120,5,300,5,3,4\n", "Do commas stand for decimals and part the columns too?"),
        ("x;y;mm\n120.5;300;3,4\n", "'3,4' has a decimal comma and '120.5' elsewhere a point"),
        ("x;y;mm\n1.120;300;3,4\n", "decimal comma and '1.120' elsewhere a point"),  # thousands
        (
            "x,y,mm\n9,8,0.13\n",
            "a usual reading of 0.13 mm is no thickness of a side; as inches it would be 3.30 mm",
        ),
        ("x,y,thickness\n900,80,8\n", "as ounces it would be 3.17 mm"),
        ("x,y,mm\n900,80,340\n", "a usual reading of 340 mm is no thickness of a side."),
        (
            "x,y,mm\n1,2,3\n80,3,3\n9,40,3\n",
            "no reading is farther along than 80 mm; as centimetres that is 800 mm, as inches",
        ),
        ("x,y,mm\n1,2,3\n.3,2,3\n1,2,3\n", "as metres that is 2000 mm"),
        ("x,y,mm\n900,80,3.1\n900,90,3.1\n900,70,34\n", "line 4, column 'mm': 34 is 34 mm"),
        ("x,y,mm\n900,80,3.1\n900,,3.1\n", "line 3, column 'y': there is no number."),
        ("x,y,mm\n900,80,3.1 mm\n", "line 2, column 'mm': '3.1 mm' is no number. Write the unit"),
        ("x,y,mm\n900,80,nan\n", "'nan' is no number"),
        ("x,y,mm\n900,80,1e999\n", "'1e999' is no number"),
        ("x,y,mm\n900,80\n", "line 2: the row has 2 cells where the first one has 3."),
        ("x,y\n900,80\n", "none of the columns 'x', 'y' is known to hold the thickness."),
        ("x,mm\n900,3\n", "is known to hold the y."),
        ("place,depth\n900,80\n", "is known to hold the number."),
        ("x,y,mm,thickness\n900,80,3,3\n", "columns 'mm' and 'thickness' both seem to hold"),
        ("x oz,y,mm\n900,80,3\n", "column 'x oz': oz is no unit of it here."),
        ("x,y,mm\n", "the list names its columns and holds no reading."),
        ("", "the list is empty."),
        ("# nothing\n,,\n", "the list is empty."),
        ('x,y,mm\n"900,80,3\n', "line 2: the row can't be read"),
        ("sticker,mm\n1,3.1\n1,3.2\n", "line 3, column 'sticker': sticker 1 has two readings."),
        ("sticker,mm\n1.5,3.1\n", "'1.5' is no number of a sticker."),
        (f"sticker,mm\n{targets.STICKERS + 1},3.1\n", "They are numbered 1 to"),
        ("sticker,mm\n0,3.1\n", "'0' is no number of a sticker."),
        ("x,y,mm\n" + "900,80,3\n" * (MOST_READINGS + 1), f"at most {MOST_READINGS} can be used"),
    ],
)
def test_what_can_be_read_two_ways_is_refused(text: str, says: str) -> None:
    """One message that names the row and what it might mean."""
    with pytest.raises(InputError) as caught:
        read_text(text)
    assert says in str(caught.value)


def test_places_are_judged_by_the_hide() -> None:
    """A column that says mm is believed for a small remnant, not for a long side."""
    text = "x mm,y mm,mm\n10,20,3.1\n83,30,3.2\n40,20,3.3\n"
    assert len(read_text(text).placed) == 3
    assert len(read_text(text, length=300.0).placed) == 3
    with pytest.raises(InputError, match="the hide is 2100 mm long; as inches that is 2108 mm"):
        read_text(text, length=2100.0)
    with pytest.raises(InputError, match="no reading is farther"):
        read_text("x,y,mm\n10,20,3.1\n1000,30,3.2\n9000,20,3.3\n", length=2100.0)


def test_a_file_is_named_in_its_errors(tmp_path) -> None:
    """File, line and column stand in one message."""
    path = tmp_path / "alder.csv"
    path.write_text("x,y,mm\n900,80,thick\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"alder\.csv, line 2, column 'mm': 'thick'"):
        read(path)
    with pytest.raises(InputError, match=r"none\.csv: there is no such file"):
        read(tmp_path / "none.csv")


@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16"])
def test_a_spreadsheets_own_encodings_are_read(tmp_path, code: str) -> None:
    """With and without a byte order mark."""
    path = tmp_path / "alder.csv"
    path.write_bytes("x;y;Stärke\n120;300;3,4\n".encode(code))
    assert read(path).placed[0].thickness == 3.4


def test_other_bytes_are_refused(tmp_path) -> None:
    """A spreadsheet's own file is no CSV."""
    path = tmp_path / "alder.csv"
    path.write_bytes(b"PK\x03\x04\xff\xd8\xc3\x28")
    with pytest.raises(InputError, match=r"not text in UTF-8\. Save it from the spreadsheet"):
        read(path)


def test_numbers_meet_their_stickers() -> None:
    """What has no partner is said, on both sides."""
    listed = read_text("nr;mm\n3;3,4\n5;3,1\n7;2,9\n")
    assert listed.numbered == {3: 3.4, 5: 3.1, 7: 2.9}
    found = on_stickers(listed.numbered, {3: (120.0, 300.0), 5: (950.0, 80.0), 9: (1.0, 2.0)})
    assert [(r.x, r.y, r.thickness) for r in found.placed] == [(120, 300, 3.4), (950, 80, 3.1)]
    assert found.says[0].startswith("No sticker 7 was found in the photo, so its reading is not")
    assert found.says[1] == "No reading in the list for sticker 9."


def test_nothing_is_said_where_all_stickers_have_readings() -> None:
    assert on_stickers({3: 3.4}, {3: (120.0, 300.0)}).says == ()


def test_a_sticker_covers_its_whole_square_however_it_is_turned() -> None:
    """Its corners lie half a diagonal from its middle."""
    (ground,) = covered({3: (120.0, 300.0)})
    corner = targets.STICKER / 2 * 2**0.5
    for x, y in ((corner, 0.0), (0.0, -corner), (corner * 0.7, corner * 0.7)):
        assert ground.contains(type(ground.centroid)(120 + x, 300 + y))


CELLS = st.tuples(
    st.integers(200, 2000), st.integers(-100, 1000), st.integers(100, 600).map(lambda n: n / 100)
)


@settings(deadline=None)
@given(st.lists(CELLS, min_size=1, max_size=30), st.sampled_from([",", ";", "\t"]), st.booleans())
def test_what_the_standard_library_writes_is_read(rows, sign: str, commas: bool) -> None:
    """Python's own csv writer as an independent judge of the format, with decimal commas too."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=sign)
    writer.writerow(["x", "y", "mm"])
    for x, y, mm in rows:
        writer.writerow([x, y, str(mm).replace(".", ",") if commas else mm])
    assert values(out.getvalue()) == [(float(x), float(y), mm) for x, y, mm in rows]


@settings(deadline=None)
@given(st.text(alphabet='xymin,;.\t\n"0123456789# -', max_size=60))
def test_no_text_breaks_the_reader(text: str) -> None:
    """Readings or one clear message, whatever the file holds."""
    try:
        found = read_text(text)
    except InputError as error:
        assert "\n" not in str(error)
    else:
        assert found.placed or found.numbered
