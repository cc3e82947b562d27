"""A knife's outline, laid out straight: Profile and Knife."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np

from hides.outline import FloatArray, Outline
from nest.knife.choices import Choices


@dataclass(frozen=True)
class Profile:
    """The outline seen as two curves over u; arrays of shape (n,), mm.

    ``back`` is the least and ``edge`` the greatest v at each ``u``.
    """

    u: FloatArray
    back: FloatArray
    edge: FloatArray

    @property
    def height(self) -> FloatArray:
        """From back to edge, (n,) mm."""
        return self.edge - self.back

    def at(self, u: FloatArray) -> Profile:
        """The same at other stations, (m,) mm, on straight lines between those it has."""
        return Profile(u, np.interp(u, self.u, self.back), np.interp(u, self.u, self.edge))


@dataclass(frozen=True)
class Knife:
    """A knife in its own frame; equal knives are equal in all but their source.

    Attributes
    ----------
    outline : mm; u along x, v along y.
    guard : mm from the butt to the guard's face towards the blade, or to the handle's end; a
        guard counts as handle.
    blade_thickness, tip_thickness : of the back, at the guard and at the tip.
    handle_thickness : (u, mm) stations, rising in u; straight between, level beyond.
    handle_round : 1 for a handle whose section is a stadium, 0 for a square one.
    choices : for its sheath.
    guesses : what the file left out and how it was decided, in words.
    assumed : those of its keys whose figure was guessed or taken for granted, and can spoil
        leather: edge, guard, blade_thickness, handle_thickness.
    remarks : what is doubtful in how the file says it, in words.
    edge_side : which side of the drawing is the edge, and who says so.
    """

    name: str
    outline: Outline
    guard: float
    blade_thickness: float = 3.5
    tip_thickness: float = 3.5
    handle_thickness: tuple[tuple[float, float], ...] = ((0.0, 18.0),)
    handle_round: float = 1.0
    choices: Choices = field(default_factory=Choices)
    source: Path | None = field(default=None, compare=False)
    guesses: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    edge_side: str = ""

    @cached_property
    def length(self) -> float:
        """From the butt to the tip, mm."""
        return self.outline.bounds[2]

    def profile(self, u: FloatArray) -> Profile:
        """Back and edge at stations u, (n,) mm."""
        return profile_of(self.outline.points, u)

    def thickness(self, u: FloatArray) -> FloatArray:
        """Thickness of handle or blade's back at stations u, (n,) mm."""
        handle = np.interp(u, *np.array(self.handle_thickness, dtype=np.float64).T)
        ends = [self.guard, max(self.length, self.guard + 1e-6)]
        blade = np.interp(u, ends, [self.blade_thickness, self.tip_thickness])
        return np.where(u < self.guard, handle, blade)


def profile_of(points: FloatArray, u: FloatArray) -> Profile:
    """Least and greatest y of a ring (n, 2) at each x in ``u``, mm; the ends stand in beyond it."""
    low, high = points[:, 0].min(), points[:, 0].max()
    x = np.clip(u, low + 1e-9 * (high - low), high - 1e-9 * (high - low))[:, None]
    a, b = points, np.roll(points, -1, axis=0)
    left, right = np.minimum(a[:, 0], b[:, 0]), np.maximum(a[:, 0], b[:, 0])
    over = (left <= x) & (x <= right) & (right > left)
    with np.errstate(divide="ignore", invalid="ignore"):
        y = a[:, 1] + (x - a[:, 0]) / (b[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
    return Profile(
        np.asarray(u, dtype=np.float64),
        np.where(over, y, np.inf).min(axis=1),
        np.where(over, y, -np.inf).max(axis=1),
    )
