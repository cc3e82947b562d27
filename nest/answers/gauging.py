"""Where leather surely is as thick as asked, and where to gauge next."""

from __future__ import annotations

from hides.units import area_text
from nest.answers.pages import KINDS, pictured
from nest.draw.sheet import Sheet
from nest.report.gaugesheet import Gauging, gauge_sheet, need_text

ENDINGS = tuple(f".gauge.{kind}" for kind in KINDS)


def facts(found: Gauging) -> dict[str, str]:
    """What is sure and what is not decided, and the places to gauge, mm along and across."""
    told = {"name": found.hide.name, "readings": str(len(found.hide.readings))}
    if found.need is not None:
        told["asked"] = need_text(found.need)
        told[f"sure to {found.confidence:.0%}"] = area_text(found.sure.area)
        told["not decided"] = area_text(found.open.area)
    for number, ((x, y), doubt) in enumerate(zip(found.places, found.doubts, strict=True), 1):
        known = f", known to ±{doubt:.2f} mm" if found.hide.readings else ""
        told[f"gauge next, {number}"] = f"{x:.0f} along, {y:.0f} across{known}"
    return told


def picture(found: Gauging) -> Sheet:
    """The hide with what is sure, and the places; A4 landscape, in mm."""
    return gauge_sheet(found)


def files(found: Gauging, name: str) -> dict[str, bytes]:
    """The picture in three formats."""
    return pictured(picture(found), f"{name}.gauge")
