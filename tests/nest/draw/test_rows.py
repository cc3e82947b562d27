"""Rows stack, part into columns and keep their words in order."""

import pytest

from nest.draw.rows import (
    beside,
    cells,
    gap,
    head,
    height_of,
    joined,
    note,
    pair,
    parted,
    stack,
)
from nest.draw.sheet import Sheet


def said(sheet):
    return [words.text for words in sheet.words]


def test_a_stack_ends_where_its_heights_say():
    sheet = Sheet(100.0, 100.0)
    rows = [head("Figures", 50.0), pair("Yield", "71 %", 50.0), gap(3.0)]
    assert stack(sheet, rows, 10.0, 90.0) == pytest.approx(90.0 - height_of(rows))
    assert said(sheet) == ["Figures", "Yield", "71 %"]


def test_rows_stay_within_their_height():
    """Ink neither above the row's top nor below its foot, so stacks never touch."""
    for row in (head("Ägjy", 50.0), pair("Ägjy", "9", 50.0), *note("Ägjy", 50.0)):
        sheet = Sheet(100.0, 100.0)
        row.draw(sheet, 10.0, 50.0)
        for words in sheet.words:
            _, low, _, high = words.box.bounds
            assert 50.0 - row.height <= low
            assert high <= 50.0


@pytest.mark.parametrize(
    ("heights", "count", "columns"),
    [
        ([1, 1, 1, 1], 2, [[1, 1], [1, 1]]),
        ([5, 1, 1, 1], 2, [[5], [1, 1, 1]]),  # the tall one alone
        ([1, 1, 1], 2, [[1, 1], [1]]),  # never taller on the right for nothing
        ([2, 2], 3, [[2], [2], []]),  # fewer rows than columns
        ([], 2, [[], []]),
    ],
)
def test_columns_are_as_low_as_they_can_be(heights, count, columns):
    rows = [gap(height) for height in heights]
    assert [[row.height for row in column] for column in parted(rows, count)] == columns


def test_joined_rows_count_as_one():
    one = joined([gap(2.0), gap(3.0)])
    assert one.height == 5.0
    assert [len(column) for column in parted([one, gap(1.0)], 2)] == [1, 1]


def test_numbers_end_at_the_right_of_their_column():
    sheet = Sheet(100.0, 50.0)
    cells(("a", "12.5", "end"), (10.0, 20.0, 10.0), right=(1,)).draw(sheet, 5.0, 40.0)
    boxes = {words.text: words.box.bounds for words in sheet.words}
    assert boxes["a"][0] == pytest.approx(5.0)
    assert boxes["12.5"][2] == pytest.approx(35.0)
    assert boxes["end"][0] == pytest.approx(35.0)


def test_small_rows_beside_a_row_make_it_as_tall_as_they_need():
    lines = note("several words that do not fit on one line of this width", 20.0)
    row = beside(gap(1.0), lines, 30.0)
    assert len(lines) > 2
    assert row.height >= height_of(lines)
