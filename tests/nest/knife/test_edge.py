"""Which side is the edge: believed when named, guessed when all signs agree, else asked."""

import re

import numpy as np
import pytest
from shapely import Polygon

from nest.errors import KnifeError
from nest.knife import knife_from
from tests.odd_knives import LIES, ODD, drawn
from tests.small_knives import PLAIN, knife

every_knife = pytest.mark.parametrize("name", ODD)
SIGNS = ("bulge", "tip height", "belly", "handle drop", "guard or heel")


def edge_is_right(made, odd):
    """Whether the knife's edge is where we drew it.

    Its outline is ours, moved and turned, and mirrored exactly when the edge, which we drew
    below, faces +v. Corners are matched by their distance from the middle, which neither changes.
    """

    def outward(points):
        arms = points - Polygon(points).centroid.coords[0]
        return arms[np.argsort(np.hypot(*arms.T))]

    moved, *_ = np.linalg.lstsq(outward(odd.points), outward(made.outline.points), rcond=None)
    return np.linalg.det(moved) < 0


def lies(name):
    """The keys of a knife in all its lies, with tip and butt named and without; its places."""
    odd = ODD[name]
    for lie in LIES:
        drawing, places = drawn(odd, *lie)
        about = {"drawing": drawing, "length": odd.length, "guard": odd.guard}
        yield {**about, **places.lie}, places
        yield about, places


@every_knife
def test_an_edge_that_is_named_is_neither_refused_nor_flipped(name):
    """On either side of each: whoever names the back has ground the back."""
    for about, places in lies(name):
        for edge in (True, False):
            made = knife_from(**about, edge=places.beside(edge))
            assert edge_is_right(made, ODD[name]) == edge
            assert made.edge_side.endswith(" side of the drawing, as edge says")
            assert made.remarks == ()


@every_knife
def test_an_edge_that_is_not_named_is_never_silently_wrong(name):
    """The guess is right and says what speaks for it, or both sides are asked, to be pasted."""
    for about, _ in lies(name):
        try:
            made = knife_from(**about)
        except KnifeError as asked:
            said = str(asked)
            assert all(sign in said for sign in SIGNS)
            pasted = [
                knife_from(**about, edge=(float(x), float(y)))
                for x, y in re.findall(r"edge = \[([-.\d]+), ([-.\d]+)\] if the", said)
            ]
            assert sorted(edge_is_right(one, ODD[name]) for one in pasted) == [False, True]
        else:
            assert edge_is_right(made, ODD[name])
            assert "guard or heel speak for it (key edge)." in " ".join(made.guesses)


def test_some_are_guessed_and_every_low_tip_is_asked():
    """So that neither half of the test before can be passed by doing only the other."""
    guessed = set()
    for name in ODD:
        try:
            knife_from(**next(lies(name))[0])
            guessed.add(name)
        except KnifeError:
            pass
    assert {"deep heel", "drop point, dropped handle", "clip with a guard"} <= guessed
    low = ("wharncliffe", "sheepsfoot", "kukri", "hawkbill", "low", "santoku", "beak", "broken")
    assert [name for name in guessed if any(word in name for word in low)] == []


@pytest.mark.parametrize(
    ("angle", "mirrored", "y_down", "edge"),
    [
        (0, False, False, "lower"),
        (0, True, False, "upper"),
        (0, False, True, "lower"),  # as it is seen, whichever way the file counts
        (180, False, False, "upper"),
        (90, False, False, "right"),
        (90, True, True, "left"),
    ],
)
def test_sides_are_named_as_they_are_seen(angle, mirrored, y_down, edge):
    odd = ODD["deep heel"]
    drawing, places = drawn(odd, angle, mirrored, y_down)
    made = knife_from(drawing, length=odd.length, guard=odd.guard, **places.lie)
    assert made.edge_side == f"the {edge} side of the drawing, guessed"


def test_a_point_anywhere_along_the_edge_names_it():
    """A bent knife: straight below the point of a hawkbill the middle is no guide."""
    odd = ODD["hawkbill"]
    drawing, places = drawn(odd, 0, False, False)
    about = {"length": odd.length, "guard": odd.guard, **places.lie}
    for spot in [(120, -2), (170, 0), (195, -5), (204, -12), (150, -400)]:
        assert edge_is_right(knife_from(drawing, **about, edge=places.there(spot)), odd)


def test_an_old_file_with_edge_straight_reads_with_a_remark():
    """Beside edge it does nothing; alone it still means the side that bulges less."""
    odd = ODD["wharncliffe"]
    drawing, places = drawn(odd, 0, False, False)
    about = {"drawing": drawing, "length": odd.length, "guard": odd.guard, **places.lie}
    both = knife_from(**about, edge=places.beside(edge=True), edge_straight=True)
    alone = knife_from(**about, edge_straight=True)
    assert edge_is_right(both, odd)
    assert "leave it out" in both.remarks[0]
    assert edge_is_right(alone, odd)
    x, y = re.search(r"say edge = \[([-.\d]+), ([-.\d]+)\] instead", alone.remarks[0]).groups()
    assert edge_is_right(knife_from(**about, edge=(float(x), float(y))), odd)


def test_a_point_on_the_middle_names_neither_side():
    with pytest.raises(KnifeError, match="names neither side"):
        knife(edge=(150, 16.5))


def test_either_edge_of_a_blade_that_looks_double_is_there_to_be_pasted():
    """Whoever says that one side is ground still has to say which."""
    half = [(0, 9), (100, 9), (106, 12), (180, 11), (220, 0)]
    dagger = [*half, *[(x, -y) for x, y in half[-2::-1]]]
    about = {"drawing": dagger, "length": 220.0, "tip": (220, 0), "butt": (0, 0), "guard": 103.0}
    with pytest.raises(KnifeError, match="edges = 1") as refused:
        knife_from(**about)
    points = re.findall(r"edge = \[([-.\d]+), ([-.\d]+)\]", str(refused.value))
    assert len(points) == 2
    for x, y in points:
        assert knife_from(**about, edges=1, edge=(float(x), float(y))).length == pytest.approx(220)


def test_the_plain_knife_is_asked():
    """Its back is straight and its handle tells nothing: it could be a sheepsfoot."""
    with pytest.raises(KnifeError, match="doesn't tell which side of the blade is the edge"):
        knife(drawing=PLAIN, edge=None)
