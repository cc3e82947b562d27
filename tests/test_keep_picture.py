"""The picture of what each ``keep`` keeps shows what the program does."""

from tests.keep_picture import PICTURE, drawn
from tests.sheets import drawn_alike


def test_the_picture_of_keep_is_what_the_rule_draws_now():
    """Made anew by python -m tests.keep_picture when rule, hide or colours change."""
    assert drawn_alike(PICTURE.read_bytes(), drawn())
