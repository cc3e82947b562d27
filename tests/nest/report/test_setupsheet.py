"""The page that shows how the hide lies on a machine's bed."""

import pytest

from nest.cutter.machine import ORIGINS
from nest.draw.sheet import Sheet
from nest.report.setupsheet import _draw_origin
from tests import cut_sample


@pytest.mark.parametrize("origin", [one for one in ORIGINS if one != "centre"])
def test_the_words_of_the_axes_keep_off_the_beds_edge(origin):
    """They lay on it, and their rim wiped out the line that they name."""
    machine = cut_sample.machine(origin=origin)
    sheet = Sheet(200.0, 150.0)
    pen = sheet.view((20.0, 20.0, 160.0, 110.0), (0.0, 0.0, *machine.bed))
    _draw_origin(pen, cut_sample.program(machine))
    (x0, y0), (x1, y1) = pen.at([(0.0, 0.0), machine.bed])
    assert {word.text for word in sheet.words} == {"0", "x", "y"}
    for word in sheet.words:
        left, low, right, high = word.box.bounds
        assert left > x1 or right < x0 or low > y1 or high < y0, word.text
