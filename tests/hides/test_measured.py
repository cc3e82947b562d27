"""Outlines measured without a camera: tape, points and drawings, and what is refused."""

from __future__ import annotations

from pathlib import Path

import ezdxf
import numpy as np
import pytest
from matplotlib.path import Path as Ring
from shapely import Polygon
from shapely.affinity import rotate

from hides import record
from hides.errors import InputError
from hides.label import HideLabel
from hides.measured import Measured, read, side
from tests.places import DATA, ROOT

SHARED = ROOT / "shared" / "hides"
PIN = 25.0  # mm between the pins of an ISO 11646 measuring wheel

# An offset survey with the trapezoidal rule worked by hand: intervals of 400 mm, offsets 300,
# 800, 950, 900, 850, 500: 400 * (300/2 + 800 + 950 + 900 + 850 + 500/2) = 1 560 000 mm².
TAPE = """along,offset
0,300
400,800
800,950
1200,900
1600,850
2000,500
"""


def measured(
    tmp_path: Path, text: str, name: str = "side.csv", unit: str | None = None
) -> Measured:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read(path, unit)


def counted(polygon: Polygon, shift: tuple[float, float]) -> float:
    """Area in mm² as a pin wheel machine has it: pins on the leather, times 25 × 25 mm.

    ISO 11646 names the wheels' distance of 25 mm; the counting is matplotlib's.
    """
    x0, y0, x1, y1 = polygon.bounds
    x, y = np.arange(x0 + shift[0], x1, PIN), np.arange(y0 + shift[1], y1, PIN)
    pins = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    on = Ring(np.asarray(polygon.exterior.coords)).contains_points(pins)
    for hole in polygon.interiors:
        on &= ~Ring(np.asarray(hole.coords)).contains_points(pins)
    return float(on.sum()) * PIN**2


def test_offsets_hold_the_area_of_the_trapezoidal_rule(tmp_path: Path) -> None:
    """The surveyor's rule, worked by hand above."""
    found = measured(tmp_path, TAPE)
    assert found.framed
    assert found.outline.area == pytest.approx(1_560_000.0)
    assert found.outline.bounds == (0.0, 0.0, 2000.0, 950.0)
    # Six offsets, less the one on the line between its neighbours, and the backbone's two ends.
    assert len(found.outline.points) == 7


@pytest.mark.parametrize(
    ("text", "area"),
    [
        (TAPE.replace(",", ";"), 1_560_000),
        (TAPE.replace(",", "\t"), 1_560_000),
        ("\ufeff" + TAPE, 1_560_000),  # as spreadsheets write it
        (TAPE.replace("\n", "\r\n"), 1_560_000),
        (TAPE.replace("along,offset", "Along (cm), Offset (cm)"), 156_000_000),
        (TAPE.replace(",", ";").replace("300", "300,0"), 1_560_000),  # decimal commas
        (TAPE.replace("along,offset", "along (in),offset"), 1_560_000 * 25.4**2),
        # the backbone edge 10 mm beyond the line all along: 2000 × 10 mm² more
        ("\n".join(["along,offset,edge", *(f"{r},-10" for r in TAPE.split()[1:])]), 1_580_000),
        # a step at 800 down to 700: (700 + 900) / 2 instead of (950 + 900) / 2 over 400 mm
        (TAPE.replace("800,950", "800,950\n800,700"), 1_510_000),
        # pointed at the tail: the first trapezium is a triangle
        (TAPE.replace("0,300\n", "0,0\n", 1), 1_500_000),
    ],
)
def test_tables_are_read_as_people_write_them(tmp_path: Path, text: str, area: float) -> None:
    """Separators, units in the head, an edge that is not straight, steps; areas by hand."""
    assert measured(tmp_path, text).outline.area == pytest.approx(area)


def test_points_around_the_edge_are_taken_in_their_order(tmp_path: Path) -> None:
    """A quadrilateral by the shoelace formula: 1 880 000 mm²; and it may be in no frame yet."""
    found = measured(tmp_path, "x,y\n0,0\n2200,0\n2000,900\n100,900\n")
    assert found.outline.area == pytest.approx(0.5 * 900 * (2200 + 1900))
    assert not found.framed


def test_a_drawing_with_units_is_in_millimetres(tmp_path: Path) -> None:
    """The same side as a DXF in inches and as an SVG in mm; written by ezdxf, and by hand."""
    corners = np.array([(0, 0), (2200, 0), (2000, 900), (100, 900)], dtype=float)
    document = ezdxf.new(units=ezdxf.units.IN)
    document.modelspace().add_lwpolyline(corners / 25.4, close=True)
    document.saveas(tmp_path / "side.dxf")
    d = "M" + " L".join(f"{x},{900 - y}" for x, y in corners) + " Z"
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="2200mm" height="900mm" '
        f'viewBox="0 0 2200 900"><path d="{d}"/></svg>'
    )
    (tmp_path / "side.svg").write_text(svg, encoding="utf-8")
    for name in ("side.dxf", "side.svg"):
        found = read(tmp_path / name)
        assert found.outline.area == pytest.approx(0.5 * 900 * (2200 + 1900), rel=1e-5)
        assert found.outline.bounds[2] - found.outline.bounds[0] == pytest.approx(2200)


def test_a_strangers_drawing_of_a_hide_needs_its_unit_said(tmp_path: Path) -> None:
    """An open icon of a whole hide, whose units are nothing: refused, then read at 4 mm a unit."""
    path = DATA / "realinputs" / "game-icons__animal-hide.svg"
    if not path.is_file():
        pytest.skip(f"the drawing is not in CROUPON_DATA ({DATA})")
    text = path.read_text(encoding="utf-8")
    (tmp_path / "hide.svg").write_text(text, encoding="utf-8")
    try:
        plain = read(tmp_path / "hide.svg")
    except InputError as error:
        assert "--unit" in str(error)
        plain = read(tmp_path / "hide.svg", "mm")
    large = read(tmp_path / "hide.svg", "cm")
    assert large.outline.area > plain.outline.area > 0
    assert counted(large.outline.polygon, (7.0, 11.0)) == pytest.approx(
        large.outline.area, rel=0.01
    )


@pytest.mark.parametrize("name", ["birch", "rowan", "alder"])
def test_counting_pins_gives_the_polygons_area(name: str) -> None:
    """As ISO 11646's machines measure: over many lays of the hide under the wheels, each turned
    another way, the mean agrees within 0.1 %, and a single lay within 1 %.
    """
    hide = record.read(SHARED / f"{name}.hide.json")
    lays = np.random.default_rng(5).uniform(0, (PIN, PIN, 360), (20, 3))
    areas = np.array([counted(rotate(hide.polygon, turn), (x, y)) for x, y, turn in lays])
    assert areas.mean() == pytest.approx(hide.gross_area, rel=0.001)
    assert np.abs(areas / hide.gross_area - 1).max() < 0.01


def test_counting_tells_a_wrong_area(tmp_path: Path) -> None:
    """The count above can fail: an outline 2 % too large in area is seen."""
    found = measured(tmp_path, TAPE).outline.polygon
    assert counted(found, (3.0, 9.0)) == pytest.approx(found.area, rel=0.005)
    assert counted(found, (3.0, 9.0)) != pytest.approx(found.area * 1.02, rel=0.005)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "the table has no rows"),
        ("x,y\n", "the table has no rows"),
        ("a,b\n1,2\n", "line 1: the columns are a, b. The first line must"),
        ("1,2\n3,4\n", "line 1: the columns are 1, 2"),  # no head
        (TAPE.replace("400,800", "400,eight"), "line 3: 'eight' is no number"),
        (TAPE.replace("400,800", "400,800 mm"), "line 3: '800 mm' is no number. Units go"),
        (TAPE.replace("400,800", "400,nan"), "line 3: 'nan' is no number"),
        (
            TAPE.replace("400,800", "400,5,800,0"),
            "line 3: the row has 4 cells where the first one has 2. D",
        ),
        (TAPE.replace("400,800", "400"), "line 3: the row has 1 cell where"),
        (TAPE.replace("400,800", "900,800"), "line 4: the distance along falls from 900 to 800"),
        (TAPE.replace("400,800", "400,-20"), "line 3: the offset -20 mm is less than the back"),
        (TAPE.replace("along", "along (ell)"), "line 1: the units are ell"),
        (TAPE.replace("along,offset", "along (cm),offset (mm)"), "line 1: the units are cm, mm"),
        ("along,offset\n0,5\n9,5\n", "offsets at 2 places can't tell"),
        ("x,y\n0,0\n9,9\n9,0\n0,9\n", "the outline crosses or touches itself"),
        ("x,y\n0,0\n9,9\n", "2 distinct points"),
    ],
)
def test_what_can_not_be_read_is_refused_with_its_place(
    tmp_path: Path, text: str, says: str
) -> None:
    """One message that names the file, the line, the fault and mostly the mend."""
    with pytest.raises(InputError) as caught:
        measured(tmp_path, text)
    assert says in str(caught.value)
    assert "side.csv" in str(caught.value)


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("side.csv", b"x,y\n\xff\xfe\x00\n", "not text in UTF-8"),
        ("side.xlsx", b"PK\x03\x04", "ends in '.xlsx'"),
        ("side", b"x,y\n1,2\n", "ends in ''"),
    ],
)
def test_other_files_are_refused(tmp_path: Path, name: str, data: bytes, says: str) -> None:
    """By what they are, not with a traceback."""
    (tmp_path / name).write_bytes(data)
    with pytest.raises(InputError, match=says):
        read(tmp_path / name)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    """As everywhere."""
    with pytest.raises(InputError, match=r"none.csv: there is no such file"):
        read(tmp_path / "none.csv")


SQUARE = "x,y\n0,0\n1800,0\n1780,700\n20,700\n"  # cut straight along two edges


def test_a_drawing_whose_backbone_is_one_of_two_edges_is_not_turned_by_guess(tmp_path) -> None:
    """Both are named with the option that settles it; either may be said."""
    path = tmp_path / "side.csv"
    path.write_text(SQUARE, encoding="utf-8")
    with pytest.raises(InputError, match="two edges may be the backbone") as caught:
        side(path, HideLabel("Larch"), turn="left")
    assert str(caught.value).count("--backbone") == 1
    assert "--backbone 0,0 1800,0, or 1780,700 20,700." in str(caught.value)
    hide, _ = side(path, HideLabel("Larch"), turn="left", backbone=[(1770.0, 690), (40, 705)])
    assert hide.outline.bounds[1] == pytest.approx(0.0, abs=0.5)
    left, _, right, _ = hide.outline.bounds
    corner = hide.outline.points[np.argmin(np.hypot(*(hide.outline.points - (left, 700)).T))]
    assert corner == pytest.approx((-20, 700), abs=2)  # the longer edge is the belly now
    assert right - left == pytest.approx(1800, abs=2)


def test_a_backbone_in_a_drawing_is_in_the_drawings_own_frame(tmp_path) -> None:
    """An SVG's y counts down."""
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="2000mm" height="1000mm" '
        'viewBox="0 0 2000 1000"><path d="M100,800 L1900,800 L1880,100 L120,100 Z"/></svg>'
    )
    path = tmp_path / "side.svg"
    path.write_text(svg, encoding="utf-8")
    hide, _ = side(path, HideLabel("Larch"), turn="left", backbone=[(110.0, 790), (1890, 810)])
    assert hide.outline.bounds == pytest.approx((0, 0, 1800, 700), abs=1)
    with pytest.raises(InputError, match="no straight edge"):
        side(path, HideLabel("Larch"), turn="left", backbone=[(110.0, -800), (1890, -800)])


def test_offsets_need_no_backbone_pointed_out(tmp_path) -> None:
    path = tmp_path / "side.csv"
    path.write_text(TAPE, encoding="utf-8")
    with pytest.raises(InputError, match="along the backbone already"):
        side(path, HideLabel("Larch"), turn="left", backbone=[(0.0, 0), (2000, 0)])
