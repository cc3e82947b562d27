"""Hides that nobody here drew: they become records, and their ground can be planned on."""

from pathlib import Path

import pytest

from hides.flaws import FACES
from hides.record import read, write
from hides.thickness import Need
from tests.real_hides import FILES, real_hides


@pytest.mark.parametrize("file", FILES)
def test_every_real_hide_has_a_valid_ground_smaller_than_itself(file: str) -> None:
    """For each face; the stricter the face, the less ground."""
    hides = real_hides(file)
    assert hides
    for hide in hides:
        assert 3e6 < hide.gross_area < 6e6  # whole hides of 32 to 65 ft²
        grounds = [hide.ground(face, Need(1.0, 1.4, unknown=True), 5.0) for face in FACES]
        assert all(ground.is_valid and not ground.is_empty for ground in grounds)
        front, back, hidden, strap = (ground.area for ground in grounds)
        assert front <= strap <= back <= hidden < hide.usable_area <= hide.gross_area
        assert all(hide.polygon.covers(ground) for ground in grounds)


@pytest.mark.parametrize("file", FILES)
def test_every_real_hide_survives_being_written_and_read(file: str, tmp_path: Path) -> None:
    """With all its hundreds of flaws."""
    for hide in real_hides(file):
        write(hide, tmp_path / "real.hide.json")
        again = read(tmp_path / "real.hide.json")
        assert again.outline == hide.outline
        assert [flaw.kind for flaw in again.flaws] == [flaw.kind for flaw in hide.flaws]
        assert again.usable_area == pytest.approx(hide.usable_area, rel=1e-9)


@pytest.mark.parametrize(
    ("file", "index", "net"),
    [
        ("baldacci_test10.json", 0, 4817643.2),  # "net_area" as the file's makers computed it
        ("baldacci_test11_shoe.json", 0, 4888749.4),
    ],
)
def test_usable_area_of_a_real_hide_is_its_net_area(file: str, index: int, net: float) -> None:
    """The hide without its holes, to the tenth of a mm² that the file gives."""
    assert real_hides(file)[index].usable_area == pytest.approx(net, abs=1.0)
