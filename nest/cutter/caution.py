"""Caution: what to tell whoever acts, and which leather must not go on which machine."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from nest.cutter.machine import Machine
from nest.errors import CutError

MAT = 1.0  # mm that a knife may go below the leather without a word: mats are thicker

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
        f"An overcut of {machine.overcut:g} mm may leave the underside closed: {thickness:.1f} mm "
        f"of leather at a blade angle of {machine.blade_angle:g}° need {need:.1f} mm.",
    )


# What a plainly vegetable-tanned leather is described with. Any other word may name a finish, a
# glue or a plastic, of which there is no list: PVC gives off hydrogen chloride (University of
# Illinois Chicago, fabrication lab, approved materials), polyurethane hydrogen cyanide (University
# of Texas at Austin, prohibited laser cutter materials). Makerspaces bar unknown coatings for the
# same reason. The barks are usual sources of vegetable tannin (from memory).
_VEGETABLE = {"vegetable", "veg", "vegtan"}
_PLAIN = _VEGETABLE | {
    "tanned", "tan", "tannage", "leather", "cowhide", "bark", "pit", "oak", "mimosa", "chestnut",
    "quebracho", "natural", "undyed", "unfinished", "uncoated", "full", "grain",
}  # fmt: skip
_CHROME = {"chrome", "chromium", "wet", "blue", "retanned"}


def fit_for(machine: Machine, tannage: str) -> None:
    """Refuse leather that must not go on this machine; only lasers are particular.

    Parameters
    ----------
    tannage : the hide record's words.

    Raises
    ------
    CutError : on a laser, whatever is not plainly vegetable-tanned by a short list of words.
        Chrome-tanned leather passes where the profile says ``chrome_allowed = true``: its chromium
        may turn into chromium VI, which causes cancer when breathed; leather on sale may hold
        3 mg/kg of it (EU REACH, annex XVII, entry 47; from memory).
    """
    if machine.tool != "laser":
        return
    words = {word.lower(): word for word in re.findall(r"[^\W_]+", tannage)}
    strange = [word for low, word in words.items() if low not in _PLAIN | _CHROME]
    if strange or not words.keys() & (_VEGETABLE | _CHROME):
        met = f"the hide's tannage is '{tannage}'" if tannage else "the hide has no tannage"
        which = f"; '{strange[0]}' may be a finish, a glue or a plastic" if strange else ""
        raise CutError(
            f"{met}, and only leather that is plainly vegetable-tanned is cut by laser{which}. "
            "Finishes and plastics give off poisonous fumes, such as hydrogen chloride and "
            "hydrogen cyanide, that also corrode the machine.",
            mend="Cut it with a knife. Only if you know that nothing but vegetable tannin and "
            'fat is in the leather, write "tannage": "vegetable" into the hide record.',
        )
    if words.keys() & _CHROME and not machine.chrome_allowed:
        raise CutError(
            f"'{tannage}' is refused on a laser. The evidence is disputed: heat may turn the "
            "leather's chromium into a form that causes cancer when breathed (chromium VI); a "
            "test on engraved leather found no more of it, and cutting was not tested. Many "
            "workshops allow vegetable-tanned leather only.",
            mend="Cut it with a knife, or set chrome_allowed = true in your own profile.",
        )


@dataclass(frozen=True, slots=True)
class Depth:
    """How thick the leather is along the cuts, mm, and how that is known.

    Attributes
    ----------
    likely : where it is expected to be thickest; None where nothing is known of the hide.
    most : what it may be there, once in twenty; what the sheaths ask for, where nothing is known.
    least : where it is expected to be thinnest.
    part : what pages call the part where it is thickest.
    """

    likely: float | None
    most: float
    least: float
    part: str = ""


def thin_enough(machine: Machine, depth: Depth) -> tuple[str, ...]:
    """What to tell of the leather's thickness, mm, beside what the tool gets through.

    Raises
    ------
    CutError : the leather is expected to be thicker somewhere than the profile's
        ``most_thickness`` or, for the depth of G-code, ``z_cut``.
    """
    limits = dict(machine.depths)
    if not limits:
        return (
            f"The leather is up to {depth.most:.1f} mm thick, and the profile does not say what "
            f"{machine.name} gets through (most_thickness): try it on scrap as thick.",
        )
    key = min(limits, key=lambda name: limits[name])
    if depth.likely is not None and depth.likely > limits[key]:
        raise CutError(
            f"under {depth.part} the leather is about {depth.likely:.1f} mm thick, and "
            f"{machine.name} gets through {limits[key]:g} mm ({_in_passes(machine)}).",
            mend=f"Cut it with another tool, or set {key} if yours cuts deeper.",
            place=f"key '{key}'",
        )
    return (*_unsure(machine, depth, key, limits[key]), *_into_the_bed(machine, depth))


def _unsure(machine: Machine, depth: Depth, key: str, limit: float) -> tuple[str, ...]:
    reach = f"{machine.name} gets through {limit:g} mm ({key}, {_in_passes(machine)})"
    if depth.likely is None:
        return (
            f"How thick this leather is was not gauged; the sheaths ask for up to "
            f"{depth.most:.1f} mm, and {reach}.",
        )
    if depth.most > limit:
        return (f"The leather may be {depth.most:.1f} mm thick in places, and {reach}: gauge it.",)
    return ()


def _into_the_bed(machine: Machine, depth: Depth) -> tuple[str, ...]:
    below = machine.depths.get("z_cut", 0.0) - depth.least
    if below <= MAT:
        return ()
    return (
        f"z_cut = {machine.z_cut:g} goes {below:.1f} mm deeper than the leather where it is "
        "thinnest: only over a mat as thick.",
    )


def _in_passes(machine: Machine) -> str:
    return "in one pass" if machine.passes == 1 else f"in {machine.passes} passes"
