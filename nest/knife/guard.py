"""Where the blade starts: the guard's face towards the blade, or the handle's end without one.

A guard steps out of the outline and in again, a heel or a handle's shoulder steps once. Where
the outline shows a clear step, the maker's own figure is held against it: a guard measured to
its other face makes a mouth that is too narrow, in a fit that looks good.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hides.outline import FloatArray
from nest.errors import KnifeError
from nest.knife.model import Profile

# Judgement, tried on drawings.
WIDTH_STEP = 0.12  # of the greatest width: a smaller step doesn't show where the blade starts
AWAY = 4.0  # mm, that a figure may lie beside the step: what a ruler and a rounded corner explain
RICASSO = 20.0  # mm, that the blade may go on narrow from the guard to its heel
GUARD = 25.0  # mm, the thickest guard
REACH = 12  # samples, over which the width is compared to either side


@dataclass(frozen=True, slots=True)
class Step:
    """A place where the width steps, mm from the butt: out to a heel, or in at a guard's end."""

    u: float
    out: bool


def guard_of(side: Profile, given: float | None, *, sure: bool = False) -> tuple[float, str]:
    """Where the blade starts, mm from the butt, and what there is to say of it.

    Parameters
    ----------
    given : the maker's figure, mm.
    sure : it stands, whatever the outline shows.

    Raises
    ------
    KnifeError : nothing is given and no step is clear, or what is given lies off the step, with
        both figures.
    """
    size = float(side.u[-1])
    step = step_of(side)
    if given is None:
        if step is None:
            raise KnifeError(
                "the width steps nowhere clearly, so the outline doesn't tell where the blade "
                "starts.",
                mend="Give guard = mm from the butt.",
                place="key 'guard'",
            )
        says = f"Blade starts where the width steps, {step.u:.0f} mm from the butt (key guard)."
        return step.u, says
    if not 0.1 * size <= given <= 0.9 * size:
        raise KnifeError(
            f"guard must lie between the butt and the tip, {0.1 * size:.0f} to "
            f"{0.9 * size:.0f} mm from the butt of this knife, got {given:g}.",
            place="key 'guard'",
        )
    if step is None or sure or abs(given - step.u) <= AWAY:
        return float(given), ""
    what = "to the blade's heel" if step.out else "in to the blade"
    if step.out and step.u - RICASSO <= given < step.u:
        return float(given), (
            f"The outline steps {what} {step.u:.1f} mm from the butt, and guard = {given:g}: what "
            "lies between is taken for ricasso, part of the blade."
        )
    raise KnifeError(
        f"guard = {given:g}, and the outline steps {what} {step.u:.1f} mm from the butt.",
        mend="It is the guard's face towards the blade, or the handle's end. Correct guard (or "
        "length, if that scaled the outline), or leave guard out to take the outline's; if it is "
        'right as it is, add sure_of = ["guard"].',
        place="key 'guard'",
    )


def step_of(side: Profile) -> Step | None:
    """The step where the blade starts, if the width steps clearly anywhere near; mm."""
    size = float(side.u[-1])
    u, width = side.u[::2], side.height[::2]
    step = _steps(width)
    seen = (u > 0.22 * size) & (u < 0.68 * size)
    if step[seen].max() < WIDTH_STEP * width.max():
        return None
    near = int(np.flatnonzero(seen & (step >= 0.75 * step[seen].max()))[-1])
    change = np.gradient(width)
    at = near - REACH + int(np.argmax(np.abs(change[near - REACH : near + REACH + 1])))
    out = bool(change[at] > 0)
    if out and (end := _guard_end(u, width, at)) is not None:
        at, out = end, False
    # Wider towards the tip is the blade's heel, narrower is the end of a guard.
    return Step(float(u[at - 1 if out else at + 1]), out)


def _guard_end(u: FloatArray, width: FloatArray, start: int) -> int | None:
    """Where what steps out at ``start`` steps in again, as a guard does and a heel doesn't; mm."""
    face = 3  # samples
    ahead = np.flatnonzero((u > u[start]) & (u < u[start] + GUARD))
    drop = width[ahead - face] - width[ahead + face]
    rise = width[ahead[:REACH]].max() - width[start - REACH // 2]
    if drop.max() <= 0.5 * rise:
        return None
    first = int(ahead[np.argmax(drop)]) - face
    return first + int(np.argmin(np.gradient(width)[first : first + 2 * face + 1]))


def _steps(width: FloatArray) -> FloatArray:
    """How much the mean width over REACH samples differs to either side of each sample."""
    means = np.lib.stride_tricks.sliding_window_view(width, REACH).mean(axis=1)
    step = np.zeros_like(width)
    step[REACH:-REACH] = np.abs(means[REACH + 1 :] - means[: -REACH - 1])
    return step
