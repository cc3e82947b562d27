"""Machine: what a cutter can do and how it wants to be told, read from ``NAME.machine.toml``.

Every key of the file is a field of :class:`Machine`, with the same name. The profiles in
``shared/machines`` are generic; copy one and put your own machine's values in. None of them
holds a power setting: that depends on machine and leather, and is found on scrap.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Annotated

import numpy as np

from hides.errors import InputError
from hides.keys import Between, OneOf, Takes, check_fields, known_keys, read_table, text
from hides.outline import FloatArray
from nest.errors import CutError

TOOLS = ("laser", "drag", "tangential", "oscillating", "hand")
TURNED = ("tangential", "oscillating")  # knives that their machine lifts and turns
KNIVES = ("drag", *TURNED)
ORIGINS = ("lower left", "lower right", "upper left", "upper right", "centre")
MIRRORS = ("none", "x", "y")
FORMATS = ("dxf-r12", "dxf-r2000", "svg", "hpgl", "gcode", "pdf")
HOLES = ("circle", "cross", "none")
MARKS = ("fold", "throat", "inner", "loop", "grain")
MARKERS = ("none", "blade", "pen")
BEAMS = ("M4", "M3")
SWITCH = OneOf((False, True))
SIDE = Between(10, 20_000, "mm")
KERF = Between(0.0, 3.0, "mm")
OFFSET = Between(0.0, 6.0, "mm")
SUFFIX = ".machine.toml"
BED_MARGIN = 5.0  # mm that parts keep off the bed's edge, beside the room for the tool
SHARED = 40.0  # mm by which two layings of a hide overlap at least, for their common marks


@dataclass(frozen=True, slots=True)
class Machine:
    """A cutter's profile. Millimetres, degrees, mm/s.

    Attributes
    ----------
    name : what it is called.
    tool : what cuts; ``drag`` is a blade that trails behind its pivot, ``tangential``
        and ``oscillating`` ones are turned by the machine, ``hand`` is you.
    bed : width and depth that the tool reaches.
    shift : how far a hide that is larger than the bed is moved between two set-ups, along its
        backbone and across it. A plan made for the machine then keeps every part within one
        window of that size; unless given, parts may lie anywhere.
    origin : the corner of the bed where the machine counts from, or its centre. From a corner
        both axes count into the bed; from the centre, right and up.
    swap_axes : the machine's first axis runs up the bed, its second along it.
    mirror : "x" or "y" where the machine draws that axis the other way than it should.
    formats : files it takes, the best first.
    kerf : width of what the tool takes away. Measure it (``croupon cut --coupon kerf``).
    offset : drag knife: from the pivot's axis to the blade's tip.
    most_thickness : the thickest leather that the tool gets through, in all its passes; what is
        thicker is refused. Unless given, you are told to try.
    blade_angle : angle between cutting edge and leather, which says how far the cut lags behind
        at depth.
    overcut : how far a closed cut runs on past its start; at least thickness / tan(blade_angle),
        or the underside stays closed.
    turn_from : a drag knife turns in place at corners sharper than this; at blunter ones
        it steers itself.
    turn_height : how far above full depth the knife is lifted to turn; 0 for not at all.
    lift_threshold : tangential and oscillating knives: at corners sharper than this they run
        on into waste by the overcut, are lifted by ``turn_height``, turned and put down again;
        180 for never.
    least_radius : knives: the tightest curve the blade turns in while it is buried; unless
        given, a drag knife's offset.
    lead_in : length in waste before a cut begins, in which the blade finds its heading; six to
        eight offsets.
    passes : how often each cut is gone over.
    holes : stitch holes as ``circle``, as ``cross`` (marked, to punch on), or ``none``.
    hole : diameter of a stitch hole, or length of a cross's arms.
    marks : the kinds of lines drawn on the parts; a knife needs a marker for them.
    marker : what a knife's machine draws marks, crosses and registration marks with: its
        ``blade``, which barely touches the leather (``z_mark``; in HPGL the tool ``pen_mark``,
        pressed less), a ``pen`` beside it, or ``none``. A laser marks with its beam.
    labels : the parts' names are put on a layer LABELS of DXF and SVG files, which is not cut:
        switch it off in your software.
    feed_cut : speed of cutting; yours, found on scrap. It stands in files, and times are reckoned
        with it.
    feed_mark : speed of drawing marks.
    feed_travel : speed with the tool up.
    acceleration : how fast the tool gains and loses speed, for the reckoning.
    seconds_per_stroke : time to lower and lift the tool, for the reckoning; of a knife that G-code
        lowers, its heights are reckoned instead.
    power_cut : G-code: the S word of a laser that cuts, in your controller's scale. None in every
        profile that we ship, and then the file says S0 and the beam stays off.
    power_mark : G-code: the S word of a laser that marks; S0 unless given.
    beam : G-code: "M4" (power falls with speed) or "M3" (constant).
    z_travel : G-code: height of a knife above the leather while it travels.
    z_cut : G-code: height of a knife's tip in the leather, whose face is 0; it must reach through.
    z_mark : G-code: height of a knife's tip that marks, barely in the leather.
    pen_cut : HPGL: the pen (tool) that cuts.
    pen_mark : HPGL: the pen (tool) that marks.
    start : lines put at the start of G-code and HPGL files.
    finish : lines put at the end of G-code and HPGL files.
    largest_file : bytes that the controller takes; 0 for any.
    smallest_step : points are not written closer together than this, since some knives stutter.
    chrome_allowed : lets chrome-tanned leather onto a laser.
    cautions : the shop's own sentences, shown beside the usual ones.

    Raises
    ------
    InputError : a value out of the bounds beside its type, or not among those allowed.
    """

    name: Annotated[str, Takes("a text", "the file's name")]
    tool: Annotated[str, OneOf(TOOLS)]
    bed: Annotated[tuple[float, float], SIDE]
    shift: Annotated[tuple[float, float] | None, SIDE] = None
    origin: Annotated[str, OneOf(ORIGINS)] = "lower left"
    swap_axes: Annotated[bool, SWITCH] = False
    mirror: Annotated[str, OneOf(MIRRORS)] = "none"
    formats: Annotated[tuple[str, ...], OneOf(FORMATS)] = ("dxf-r12", "svg")
    kerf: Annotated[float, KERF] = 0.0
    offset: Annotated[float, OFFSET] = 0.0
    most_thickness: Annotated[float | None, Between(0.1, 50.0, "mm")] = None
    blade_angle: Annotated[float, Between(10.0, 90.0, "degrees")] = 60.0
    overcut: Annotated[float, Between(0.0, 20.0, "mm")] = 0.0
    turn_from: Annotated[float, Between(1.0, 90.0, "degrees")] = 20.0
    turn_height: Annotated[float, Between(0.0, 20.0, "mm")] = 0.0
    lift_threshold: Annotated[float, Between(1.0, 180.0, "degrees")] = 180.0
    least_radius: Annotated[float | None, Between(0.0, 50.0, "mm")] = None
    lead_in: Annotated[float, Between(0.0, 50.0, "mm")] = 0.0
    passes: Annotated[int, Between(1, 50)] = 1
    holes: Annotated[str, OneOf(HOLES)] = "circle"
    hole: Annotated[float, Between(0.3, 10.0, "mm")] = 1.2
    marks: Annotated[tuple[str, ...], OneOf(MARKS)] = ()
    marker: Annotated[str, OneOf(MARKERS)] = "none"
    labels: Annotated[bool, SWITCH] = True
    feed_cut: Annotated[float, Between(0.1, 2000.0, "mm/s")] = 10.0
    feed_mark: Annotated[float, Between(0.1, 2000.0, "mm/s")] = 20.0
    feed_travel: Annotated[float, Between(0.1, 5000.0, "mm/s")] = 100.0
    # a usual setting of small machines: common practice, no published source
    acceleration: Annotated[float, Between(1.0, 1e5, "mm/s²")] = 500.0
    seconds_per_stroke: Annotated[float, Between(0.0, 60.0, "s")] = 0.3
    power_cut: Annotated[float | None, Between(0.0, 1e6)] = None
    power_mark: Annotated[float | None, Between(0.0, 1e6)] = None
    beam: Annotated[str, OneOf(BEAMS)] = "M4"
    z_travel: Annotated[float, Between(0.1, 200.0, "mm")] = 5.0
    z_cut: Annotated[float, Between(-50.0, 0.0, "mm")] = -4.0
    z_mark: Annotated[float, Between(-50.0, 5.0, "mm")] = -0.3
    pen_cut: Annotated[int, Between(1, 99)] = 1
    pen_mark: Annotated[int, Between(1, 99)] = 2
    start: Annotated[tuple[str, ...], Takes("a list of texts")] = ()
    finish: Annotated[tuple[str, ...], Takes("a list of texts")] = ()
    largest_file: Annotated[int, Between(0, 1e10, "bytes")] = 0
    smallest_step: Annotated[float, Between(0.0, 2.0, "mm")] = 0.0
    chrome_allowed: Annotated[bool, SWITCH] = False
    cautions: Annotated[tuple[str, ...], Takes("a list of texts")] = ()

    def __post_init__(self) -> None:
        check_fields(self)
        self._agree()

    def _agree(self) -> None:
        """Refuse values that are sound alone and make no sense together."""
        if not self.formats:
            raise CutError("formats must name at least one.", place="key 'formats'")
        if self.tool == "drag" and self.offset <= 0:
            raise CutError(
                "a drag knife needs its offset, from the pivot's axis to the blade's tip.",
                mend="Cut an offset coupon and measure it.",
                place="key 'offset'",
            )
        if self.holes == "circle" and self.hole / 2 < self.turns_in:
            raise CutError(
                f"a knife that turns in {self.turns_in:g} mm can't turn in a "
                f"{self.hole:g} mm hole.",
                mend='Use holes = "cross", or "none" and punch them.',
                place="key 'holes'",
            )
        self._can_mark()
        self._holds_its_shift()

    def _can_mark(self) -> None:
        """Refuse marks without anything to draw them with, or with a blade at a wrong depth."""
        wanted = [*self.marks, *(["crosses"] if self.holes == "cross" else [])]
        if wanted and self.is_knife and not self.can_mark:
            raise CutError(
                f"the profile asks for {', '.join(wanted)}, and for nothing to mark them with.",
                mend='Say marker = "blade" (it touches the leather lightly), or "pen" where one '
                'is in the other holder; or leave them out: marks = [], holes = "none".',
                place="key 'marker'",
            )
        if self.tool == "drag" and "gcode" in self.formats and not self.z_cut < self.z_mark < 0:
            raise CutError(
                f"z_mark must lie between z_cut ({self.z_cut:g} mm) and the leather's face (0), "
                f"got {self.z_mark:g}: there a blade marks, and swings before it cuts.",
                mend="Try z_mark = -0.3.",
                place="key 'z_mark'",
            )

    def _holds_its_shift(self) -> None:
        """Refuse to move a hide farther than the bed reaches, either way round."""
        wide, deep = (
            min(room, side - SHARED) for room, side in zip(self.room, self.bed, strict=True)
        )
        if self.shift is None or any(
            self.shift[0] <= along and self.shift[1] <= across
            for along, across in ((wide, deep), (deep, wide))
        ):
            return
        most = f"{max(wide, 0):.0f} × {max(deep, 0):.0f} mm"
        raise CutError(
            f"a hide can't be moved by {self.shift[0]:g} × {self.shift[1]:g} mm on this bed.",
            mend=f"At most {most}, or the same across: tool and marks need the rest of the bed.",
            place="key 'shift'",
        )

    @property
    def spare(self) -> float:
        """How far parts keep off the bed's edge, mm: room for the tool beside their outlines."""
        if not self.is_knife:
            return BED_MARGIN + self.kerf
        return BED_MARGIN + self.lead_in + self.overcut + 2 * self.offset + self.kerf

    @property
    def room(self) -> tuple[float, float]:
        """Width and depth in mm that the bed has for parts."""
        return self.bed[0] - 2 * self.spare, self.bed[1] - 2 * self.spare

    @property
    def is_knife(self) -> bool:
        """A blade that a machine drives, which has a heading."""
        return self.tool in KNIVES

    @property
    def depths(self) -> dict[str, float]:
        """What it gets through in mm, by the keys that say so: ``most_thickness``, and of a knife
        that G-code lowers, ``z_cut``."""
        found = {} if self.most_thickness is None else {"most_thickness": self.most_thickness}
        lowered = self.is_knife and "gcode" in self.formats
        return found | ({"z_cut": -self.z_cut} if lowered else {})

    @property
    def can_mark(self) -> bool:
        """Whether it can draw on leather without cutting it."""
        return not self.is_knife or self.marker != "none"

    def leads(self, work: str) -> bool:
        """Whether a trailing blade does such work, "mark", "hole" or "cut", so that its pivot
        goes ahead of it."""
        return self.tool == "drag" and (work != "mark" or self.marker == "blade")

    @property
    def turns_in(self) -> float:
        """Radius in mm of the tightest curve that is cut without lifting; 0 for any."""
        if not self.is_knife:
            return 0.0
        return self.offset if self.least_radius is None else self.least_radius

    @property
    def reverses(self) -> bool:
        """Whether :meth:`counted` turns what runs counter-clockwise into clockwise numbers."""
        turns = ("right" in self.origin, "upper" in self.origin, self.mirror != "none")
        return (sum(turns) + self.swap_axes) % 2 == 1

    def counted(self, points: FloatArray) -> FloatArray:
        """Bed coordinates (origin lower left, x right, y up) as the machine counts them.

        ``points`` is (n, 2) mm, and so is the result. Arcs change their sense, and bulges
        their sign, where :attr:`reverses` says so.
        """
        bed = np.asarray(self.bed, dtype=np.float64)
        flips = np.array(
            [
                ("right" in self.origin) != (self.mirror == "x"),
                ("upper" in self.origin) != (self.mirror == "y"),
            ]
        )
        found = np.where(flips, bed - points, points)
        if self.origin == "centre":
            found = found - bed / 2
        return found[:, ::-1].copy() if self.swap_axes else found


_WHOLE = ("passes", "pen_cut", "pen_mark", "largest_file")
_LISTS = ("formats", "marks", "start", "finish", "cautions")
OLD_KEYS = {"swivel_threshold": "turn_from", "swivel_height": "turn_height"}
KEYS = tuple(f.name for f in fields(Machine))


def read(given: Path | str, *, beside: Path | None = None) -> Machine:
    """Read a machine profile.

    Parameters
    ----------
    given : a path to a file (it ends in ``.toml`` or has a folder in it), or a bare name, which
        is looked for as ``NAME.machine.toml`` in the folders of :func:`folders`, first found
        first taken.
    beside : the plan's folder.

    Raises
    ------
    InputError : no such profile (those that there are, are named), or something in it is wrong.
    """
    path = _found(str(given), beside)
    try:
        return machine_of(read_table(path, "machine"), path.name.removesuffix(SUFFIX))
    except InputError as error:
        raise error.at(file=path) from None


def folders(beside: Path | None = None) -> tuple[Path, ...]:
    """Where a bare name is looked for, in order.

    The plan's folder, the working folder, ``machines`` and ``shared/machines`` in it, and the
    ``shared/machines`` of the clone that the program runs from, where it runs from one.
    """
    own = Path(__file__).parents[2] / "shared" / "machines"
    here = (Path(), Path("machines"), Path("shared/machines"), own)
    return (beside, *here) if beside is not None else here


def names(beside: Path | None = None) -> tuple[str, ...]:
    """The bare names that :func:`read` finds."""
    files = (file for folder in folders(beside) for file in folder.glob(f"*{SUFFIX}"))
    return tuple(sorted({file.name.removesuffix(SUFFIX) for file in files}))


def _found(given: str, beside: Path | None) -> Path:
    path = Path(given)
    if path.suffix == ".toml" or len(path.parts) > 1:
        return path
    for folder in folders(beside):
        if (folder / f"{given}{SUFFIX}").is_file():
            return folder / f"{given}{SUFFIX}"
    known = names(beside)
    near = difflib.get_close_matches(given, known, n=1, cutoff=0.5)
    mend = f"Did you mean '{near[0]}'?" if near else f"Known here: {', '.join(known) or 'none'}."
    raise CutError(f"there is no machine '{given}'.", mend=f"{mend} A path to a file will do too.")


def machine_of(table: Mapping[str, object], name: str) -> Machine:
    """A profile from the table of its file; ``name`` is used where it gives none.

    Raises
    ------
    InputError : an unknown key, one that is missing, a wrong type, a value out of bounds.
    """
    for old, new in OLD_KEYS.items():
        if old in table:
            raise CutError(
                f"{old} is called {new} now.", mend=f"Write {new}.", place=f"key '{old}'"
            )
    known_keys(table, KEYS)
    for key in ("tool", "bed"):
        if key not in table:
            raise CutError(f"the profile needs {key}.", place=f"key '{key}'")
    values: dict[str, object] = {"name": name} | {k: _value(k, v) for k, v in table.items()}
    return Machine(**values)  # type: ignore[arg-type]


def _value(key: str, value: object) -> object:
    if key == "name":
        return text(value, key)
    if key in ("bed", "shift"):
        return _sides(key, value)
    if key in _WHOLE and not (isinstance(value, int) and not isinstance(value, bool)):
        raise CutError(f"{key} must be a whole number, got {value!r}.", place=f"key '{key}'")
    if key in _LISTS:
        if not isinstance(value, list):
            raise CutError(f"{key} must be a list of texts, got {value!r}.", place=f"key '{key}'")
        return tuple(text(line, key) for line in value)
    return value


def _sides(key: str, value: object) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        sides = "[width, depth]" if key == "bed" else "[along, across]"
        raise CutError(f"{key} must be {sides}, got {value!r}.", place=f"key '{key}'")
    width, depth = (SIDE.check(side, key) for side in value)
    return width, depth
