"""The maker's choices for a sheath: the ``[sheath]`` table, with defaults and bounds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated

from hides.errors import InputError
from hides.keys import Between, OneOf, check_fields, known_keys, rules_of
from hides.units import parse_thickness
from nest.errors import KnifeError

HANDS = ("right", "left")
LOOPS = ("sewn", "back")
OLD_KEYS = {"throat": "handle_covered"}  # throat was read as how wide the mouth is
LEATHER_BOUNDS, STITCH_BOUNDS = Between(1.0, 6.0, "mm"), Between(2.0, 12.0, "mm")


@dataclass(frozen=True, slots=True)
class Choices:
    """The maker's choices: the ``[sheath]`` table of a knife file. Millimetres.

    Attributes
    ----------
    leather : thickness of body and loop.
    welt : width of the welt.
    welt_thickness : thickness of the welt; the body leather's unless given.
    handle_covered : how far up the handle the sheath reaches, as a share of the way from guard to
        butt; once called ``throat``, which is still read.
    stitch : pitch of the holes; also "6 per inch" or "27/6".
    margin : distance of the holes from the edge; the pitch unless given.
    belt : width of the belt.
    belt_thickness : thickness of the belt.
    belt_ease : room beside the belt in its loop.
    loop : ``sewn`` (a strip on the back) or ``back`` (the back rises and folds over).
    loop_width : width of the loop; by the sheath's size unless given.
    loop_pad : length of the loop that is sewn down at each end.
    hand : ``right`` or ``left``, the hip it is worn on, edge to the rear.
    slack : room asked at the handle, measured along the leather from fold to welt.
    clearance : room between the blade's outline and the welt.
    grip : how much a swell of the handle may be wider than the mouth that it passes;
        the leather gives.
    neutral : where in its thickness the leather keeps its length in a bend, from the inside;
        0.5 in the middle, less where it was folded damp.
    oversize : added to stitched edges, to be sanded off.
    excess : how far the welt stands out of the throat, to be trimmed.
    handle_margin : from the handle's traced outline to the edge, where the maker wants their
        own figure instead of the one by girth.
    thumb : depth of a thumb cut in the front's throat line, 0 for none.
    drain : diameter of a drain hole at the tip, 0 for none.
    remarks : what is doubtful in how they were given, in sentences.

    Raises
    ------
    InputError : a value out of the bounds beside its type.
    """

    leather: Annotated[float, LEATHER_BOUNDS] = 3.4
    welt: Annotated[float, Between(6.0, 40.0, "mm")] = 10.0
    welt_thickness: Annotated[float | None, Between(1.0, 12.0, "mm")] = None
    handle_covered: Annotated[float, Between(0.0, 0.95)] = 0.667
    stitch: Annotated[float, STITCH_BOUNDS] = 4.0
    margin: Annotated[float | None, Between(2.5, 20.0, "mm")] = None
    belt: Annotated[float, Between(15.0, 100.0, "mm")] = 40.0
    belt_thickness: Annotated[float, Between(1.5, 10.0, "mm")] = 4.0
    belt_ease: Annotated[float, Between(1.0, 20.0, "mm")] = 5.0
    loop: Annotated[str, OneOf(LOOPS)] = "sewn"
    loop_width: Annotated[float | None, Between(15.0, 100.0, "mm")] = None
    loop_pad: Annotated[float, Between(15.0, 60.0, "mm")] = 22.0
    hand: Annotated[str, OneOf(HANDS)] = "right"
    slack: Annotated[float, Between(-5.0, 15.0, "mm")] = 0.5
    clearance: Annotated[float, Between(0.0, 5.0, "mm")] = 1.0
    grip: Annotated[float, Between(0.0, 3.0, "mm")] = 1.0
    neutral: Annotated[float, Between(0.2, 0.6)] = 0.5
    oversize: Annotated[float, Between(0.0, 3.0, "mm")] = 0.5
    excess: Annotated[float, Between(0.0, 20.0, "mm")] = 5.0
    handle_margin: Annotated[float | None, Between(3.0, 60.0, "mm")] = None
    thumb: Annotated[float, Between(0.0, 30.0, "mm")] = 0.0
    drain: Annotated[float, Between(0.0, 10.0, "mm")] = 0.0
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_fields(self)
        if self.margin_mm > self.welt - 3:
            raise KnifeError(
                f"margin must leave 3 mm of the welt inside the seam: {self.margin_mm:g} mm from "
                f"the edge of a {self.welt:g} mm welt is too far.",
                mend=f"Write welt = {self.margin_mm + 3:g} or margin = {self.welt - 3:g}.",
                place="key 'margin'",
            )

    @property
    def margin_mm(self) -> float:
        """Distance of the holes from the finished edge, mm."""
        return self.stitch if self.margin is None else self.margin

    @property
    def welt_mm(self) -> float:
        """Thickness of the welt, mm."""
        return self.leather if self.welt_thickness is None else self.welt_thickness

    def changed(self, table: Mapping[str, object]) -> Choices:
        """Return these choices with those of a ``[sheath]`` table put over them.

        ``leather`` may be a range, ``[3.2, 3.5]`` or ``"8-9 oz"``, and the sheath is made for its
        middle; ``stitch`` may be a pitch in words (:func:`pitch_of`). A key's old name is read,
        with a remark.

        Raises
        ------
        InputError : an unknown key, one by both its names, a wrong type, a value out of bounds.
        """
        values = dict(table)
        remarks = list(self.remarks)
        for old, new in OLD_KEYS.items():
            if old in table:
                values = _renamed(values, old, new)
                remarks.append(f"The key {old} is now called {new}: write that.")
        known_keys(values, CHOICE_KEYS)
        if "leather" in values:
            values["leather"] = _thickness(values["leather"])
        if "stitch" in values:
            values["stitch"] = pitch_of(values["stitch"])
        return replace(self, **values, remarks=tuple(dict.fromkeys(remarks)))  # type: ignore[arg-type]


CHOICE_KEYS = tuple(rules_of(Choices))


def _renamed(table: Mapping[str, object], old: str, new: str) -> dict[str, object]:
    """The same table with a key's new name; both of them leave open which one counts."""
    if new in table:
        raise KnifeError(
            f"{old} is the old name of {new}, and both are given.",
            mend=f"Leave out {old}.",
            place=f"key '{old}'",
        )
    return {new if key == old else key: value for key, value in table.items()}


def _thickness(value: object) -> float:
    """Mm of leather from a number, a range or a text; the middle of a range."""
    if isinstance(value, str):
        try:
            span = parse_thickness(value)
        except InputError as error:
            raise error.at(place="key 'leather'") from None
        return sum(span) / 2
    ends = value if isinstance(value, list | tuple) and len(value) == 2 else (value, value)
    return sum(LEATHER_BOUNDS.check(end, "leather") for end in ends) / 2


def pitch_of(value: object) -> float:
    """Stitch pitch in mm from a number (mm), ``"4 mm"``, ``"6 per inch"`` or ``"27/6"``.

    An inch holds 25.4 mm; European irons are numbered by the stitches in 27 mm (a maker's
    table lists 5.4, 4.5, 3.9, 3.4 and 3.0 mm for 5 to 9). Anything else is asked, not guessed.
    """
    if not isinstance(value, str):
        return STITCH_BOUNDS.check(value, "stitch")
    text = value.lower().strip()
    for lead, tail, span in (("", "mm", None), ("", "per inch", 25.4), ("27/", "", 27.0)):
        body = text.removeprefix(lead).removesuffix(tail).strip()
        marked = text.startswith(lead) and text.endswith(tail)
        if marked and body.replace(".", "", 1).isdigit() and float(body) > 0:
            pitch = float(body) if span is None else span / float(body)
            return STITCH_BOUNDS.check(pitch, "stitch")
    raise KnifeError(
        f"stitch = {value!r} can mean two pitches.",
        mend='Give it in mm (4.0), as "6 per inch" (4.23 mm) or as "27/6" (an iron of 4.5 mm).',
        place="key 'stitch'",
    )
