"""What ``croupon hide ...`` understands: the arguments of each verb, and nothing that is slow.

What the verbs do is in :mod:`nest.capturing`; the command line joins the two.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

Verb = Callable[[str, str, str, str], argparse.ArgumentParser]
RECORD = "NAME.hide.json"
ISO_2589 = (
    "A gauge after ISO 2589 presses with a flat round foot of 10 mm and 393 g of dead weight "
    "(49 kPa) against an anvil of the same size, and reads to 0.01 mm; a hand gauge repeats to "
    "about 0.05 mm, which is what is reckoned with. Measure on leather that lies dry and flat."
)


def add_hide_verbs(verb: Verb) -> None:
    """Add all verbs; ``verb`` makes a parser of a name, the name of the function that does it,
    what it does in words, and an example.
    """
    show = verb(
        "show", "show",
        "draw a hide record and print its figures",
        "croupon hide show shared/hides/birch.hide.json",
    )  # fmt: skip
    show.add_argument("hide", type=Path, help=RECORD)
    check = verb(
        "check", "check",
        "say what is wrong or odd in a hide record",
        "croupon hide check shared/hides/birch.hide.json",
    )  # fmt: skip
    check.add_argument("hide", type=Path, help=RECORD)
    _gauge(verb)
    _targets(verb)
    _capture(verb)
    _measure(verb)


def _gauge(verb: Verb) -> None:
    gauge = verb(
        "gauge", "gauge",
        "say where leather is surely as thick as asked, and where to gauge next",
        'croupon hide gauge shared/hides/birch.hide.json --need "3.2-3.5 mm" --count 6',
    )  # fmt: skip
    gauge.description = f"{gauge.description} {ISO_2589}"
    gauge.add_argument("hide", type=Path, help=RECORD)
    gauge.add_argument("--need", metavar="RANGE", help='such as "3.2-3.5 mm" or "8-9 oz"')
    gauge.add_argument(
        "--split", action="store_true", help="thicker leather counts too: it can be split down"
    )
    gauge.add_argument(
        "--sure", type=float, default=0.9, metavar="CHANCE", help="confidence asked for (0.9)"
    )
    gauge.add_argument("--count", type=int, default=5, help="how many places to gauge next (5)")
    gauge.add_argument(
        "--reach", type=float, default=1e9, metavar="MM",
        help="how far from the edge the gauge's arm reaches (any place)",
    )  # fmt: skip


def _targets(verb: Verb) -> None:
    targets = verb(
        "targets", "scale_sheets",
        "write the scale sheets and numbered stickers to print for photos of hides",
        "croupon hide targets --out sheets.pdf --paper letter",
    )  # fmt: skip
    targets.add_argument(
        "--out", dest="file", type=Path, default=Path("scale-sheets.pdf"), metavar="FILE.pdf",
        help="where to write them (scale-sheets.pdf)",
    )  # fmt: skip
    targets.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="the paper in the printer (a4)"
    )


def _capture(verb: Verb) -> None:
    capture = verb(
        "capture", "capture_photos",
        "make a hide record from photos of a side with scale sheets around it",
        "croupon hide capture side.jpg --readings gauge.csv --name Larch --out larch.hide.json",
    )  # fmt: skip
    capture.add_argument(
        "photos", type=Path, nargs="+", metavar="PHOTO", help="several that overlap are merged"
    )
    capture.add_argument(
        "--guide", type=Path, metavar="CSV",
        help="x,y: about thirty points around the edge in order, in pixels of the first photo",
    )  # fmt: skip
    capture.add_argument(
        "--legend", type=Path, metavar="TOML", help="what your colours of chalk stand for"
    )
    capture.add_argument(
        "--readings", type=Path, metavar="CSV",
        help="x,y,mm in the hide's frame, or number,mm for numbered stickers on the photo",
    )  # fmt: skip
    capture.add_argument(
        "--ruler", type=float, metavar="MM",
        help="length of the printed ruler as you measure it (as it should be)",
    )  # fmt: skip
    capture.add_argument(
        "--raised", type=float, default=0.0, metavar="MM",
        help="the leather's thickness, if the sheets lie on the floor and not on offcuts (0)",
    )  # fmt: skip
    capture.add_argument(
        "--mirror", action="store_true", help="the photo shows the flesh side; turn it over"
    )
    capture.add_argument(
        "--anyway", action="store_true", help="write the record even where it is doubtful"
    )
    _about(capture)


def _measure(verb: Verb) -> None:
    measure = verb(
        "measure", "measure",
        "make a hide record without a camera, from a tape, points or a drawing",
        "croupon hide measure tape.csv --name Larch --out larch.hide.json",
    )  # fmt: skip
    measure.add_argument(
        "outline", type=Path,
        help="CSV of along,offset[,edge] (a tape along the backbone) or x,y; or SVG or DXF",
    )  # fmt: skip
    measure.add_argument(
        "--unit", choices=("mm", "cm", "m", "in"), help="where the file doesn't say it"
    )
    measure.add_argument("--readings", type=Path, metavar="CSV", help="x,y,mm in the hide's frame")
    measure.add_argument(
        "--align", action="store_true", help="turn the drawing so that its backbone lies at y = 0"
    )
    _about(measure)


def _about(verb: argparse.ArgumentParser) -> None:
    """What neither photo nor tape can tell, for both."""
    verb.add_argument(
        "--out", dest="file", type=Path, required=True, metavar=RECORD,
        help="the record to write; pictures go beside it",
    )  # fmt: skip
    verb.add_argument("--force", action="store_true", help="replace a record that is there already")
    verb.add_argument(
        "--side", choices=("left", "right"), default="left",
        help="side of the animal; it tells tail from neck (left)",
    )  # fmt: skip
    verb.add_argument("--name", help="what you call this hide (the file's name)")
    verb.add_argument("--tannage", default="vegetable", help="in words (vegetable)")
    verb.add_argument(
        "--stamp", metavar="AREA", help='area stamped by the seller, such as "22³ ft2"'
    )
    verb.add_argument(
        "--price", nargs=3, metavar=("AMOUNT", "CURRENCY", "PER"),
        help="such as 9.50 EUR ft2; per ft2, dm2 or piece",
    )  # fmt: skip
