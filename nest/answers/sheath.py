"""A sheath: its pattern at full size, and the figures that a maker works by."""

from __future__ import annotations

from hides.units import area_text
from nest.answers.pages import KINDS, pictured
from nest.draw.book import pdf_of
from nest.draw.sheet import Sheet
from nest.report.patternsheet import pattern_sheet
from nest.report.templates import Template, template_pages
from nest.sheaths import Sheath

ENDINGS = (*(f".pattern.{kind}" for kind in KINDS), ".templates.pdf")


def facts(sheath: Sheath) -> dict[str, str]:
    """Seams, thread, trim and leather in words; mm, m and areas."""
    f = sheath.facts
    low, high = f.thread_rule
    least, most = f.pitches
    return {
        "sheath": f"{sheath.name}, {sheath.hand} hand",
        "fold allowance": f"{f.fold_allowance:.1f} mm (rule of thumb {f.fold_rule:.1f} mm)",
        "edge seam": f"{f.seam:.0f} mm, {f.stitches} stitches of {least:.2f} to {most:.2f} mm",
        "its thread": f"{f.thread / 1000:.2f} m of {f.thread_diameter:g} mm, {f.needles} needles "
        f"(rule of thumb {low / 1000:.2f} to {high / 1000:.2f} m)",
        "loop seams": f"{f.loop_seam:.0f} mm, {f.loop_stitches} stitches, "
        f"{f.loop_thread / 1000:.2f} m of thread",
        "welt trim": f"{f.welt_trim:.1f} mm",
        **{f"{kind} area": area_text(area) for kind, area in f.areas.items()},
    }


def picture(sheath: Sheath) -> Sheet:
    """The pattern at 1:1, on the smallest paper that holds it; in mm."""
    return pattern_sheet(sheath)


def files(sheath: Sheath, name: str, *, paper: str | None = None) -> dict[str, bytes]:
    """The pattern in three formats; with ``paper`` ("a4" or "letter") full-size templates too."""
    made = pictured(picture(sheath), f"{name}.pattern")
    if paper:
        title = f"{sheath.name}: templates"
        templates = [Template(sheath.name, part) for part in sheath.parts]
        made[f"{name}.templates.pdf"] = pdf_of(template_pages(title, templates, paper), title)
    return made
