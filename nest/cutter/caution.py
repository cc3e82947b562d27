"""Caution: what to tell whoever acts, and which leather must not go on which machine."""

from __future__ import annotations

import math
import re

from nest.cutter.machine import Machine
from nest.errors import CutError

# Sources: university and makerspace laser rules (extraction, no PVC, never unattended, flames that
# outlast the beam); blades and fingers: common practice, no published source.
BY_HAND = (
    "Blades: cut away from your hand and body, in several light passes along a steel rule with "
    "a guard or held outside its line; put a mat below.",
    "Awl: keep the other hand out of its line.",
)
_CAUTIONS = {
    "laser": (
        "Never leave a running laser alone; have an extinguisher within reach.",
        "Flames that follow the beam must go out when it stops: if not, stop and put them out.",
        "Extract the smoke to the outside and don't breathe it.",
        "Vegetable-tanned leather only: no PVC, vinyl, faux or coated leather, whose fumes are "
        "poisonous and corrode the machine; chrome-tanned leather is refused unless allowed.",
    ),
    "hand": (
        *BY_HAND,
        "Try the pattern on card first, and check the printed ruler before you cut.",
    ),
    "knife": (
        "Keep hands out of the bed while the machine runs; take blades by their holder.",
        "Hold the leather down all round: a blade drags it along.",
    ),
}
_OF_MACHINES = (
    "Try it on scrap first, and measure what comes out.",
    "The machine's manual and local rules come first.",
)


def cautions_of(machine: Machine, thickness: float = 0.0) -> tuple[str, ...]:
    """What to tell whoever acts: the usual sentences for the tool, then the profile's own.

    With the leather's ``thickness`` in mm it also says when a knife's overcut is too short for it.
    """
    kind = "knife" if machine.is_knife else machine.tool
    usual = _CAUTIONS[kind] if kind == "hand" else (*_CAUTIONS[kind], *_OF_MACHINES)
    return (*usual, *_short_overcut(machine, thickness), *machine.cautions)


def full_depth(thickness: float, blade_angle: float) -> float:
    """Length in mm by which a slanting edge cuts later at depth than at the surface.

    t / tan(angle to the surface), derived: an overcut of less leaves the underside closed at the
    start. 3.2 mm of leather need 3.2 mm at 45° and 1.85 mm at 60°.
    """
    return thickness / math.tan(math.radians(blade_angle))


def _short_overcut(machine: Machine, thickness: float) -> tuple[str, ...]:
    need = full_depth(thickness, machine.blade_angle)
    if not machine.is_knife or machine.overcut >= need - 0.005:
        return ()
    return (
        f"An overcut of {machine.overcut:g} mm may leave the underside closed: {thickness:g} mm "
        f"of leather at a blade angle of {machine.blade_angle:g}° need {need:.1f} mm.",
    )


_NEVER = re.compile(
    r"pvc|vinyl|faux|imitation|artificial|coated|polyurethane|\bpu\b|\bpatent", re.I
)
_CHROME = re.compile(r"(?<!non-)(?<!non )chrom(e|ium)?(?!e?[- ]free)|wet[- ]?blue", re.I)
_VEGETABLE = re.compile(r"\bveg", re.I)


def fit_for(machine: Machine, tannage: str) -> None:
    """Refuse leather that must not go on this machine; only lasers are particular.

    Parameters
    ----------
    tannage : the hide record's words.

    Raises
    ------
    CutError : on a laser, whatever is not plainly vegetable-tanned. Chrome-tanned leather passes
        where the profile says ``chrome_allowed = true``; coated and unknown leather never does.
    """
    if machine.tool != "laser":
        return
    if _NEVER.search(tannage):
        raise CutError(
            f"'{tannage}' must not be cut by laser: coatings and plastics give off poisonous "
            "fumes that also corrode the machine.",
            mend="Cut it with a knife.",
        )
    if _CHROME.search(tannage):
        if machine.chrome_allowed:
            return
        raise CutError(
            f"'{tannage}' is refused on a laser. The evidence is disputed: heat may turn the "
            "leather's chromium into a form that causes cancer when breathed; a test on engraved "
            "leather found no more of it, and cutting was not tested. Many workshops allow "
            "vegetable-tanned leather only.",
            mend="Cut it with a knife, or set chrome_allowed = true in your own profile.",
        )
    if not _VEGETABLE.search(tannage):
        met = f"the hide's tannage is '{tannage}'" if tannage else "the hide has no tannage"
        raise CutError(
            f"{met}, and only vegetable-tanned leather is cut by laser.",
            mend='If it is, write "tannage": "vegetable" into the hide record.',
        )
