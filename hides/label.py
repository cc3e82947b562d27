"""What is written on a hide and can't be seen: its name, tannage, stamped area and price."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hides.errors import InputError
from hides.flaws import Flaw
from hides.hide import Hide, Price
from hides.outline import Outline
from hides.units import parse_area


@dataclass(frozen=True, slots=True)
class HideLabel:
    """Attributes as a :class:`hides.hide.Hide` has them; ``supplier_area`` in mm²."""

    name: str
    tannage: str = ""
    supplier_area: float | None = None
    price: Price | None = None

    @classmethod
    def of(
        cls, name: str, tannage: str, stamp: str | None = None, price: Sequence[str] | None = None
    ) -> HideLabel:
        """Read the words of a label: a stamp such as "22³ ft2", a price as amount, currency, per.

        Raises
        ------
        InputError : no name, no area, or no price.
        """
        if not name.strip() or not name.isprintable():
            raise InputError("the hide needs a name without line breaks.")
        area = None if stamp is None else parse_area(stamp)
        return cls(name, tannage, area, None if price is None else _price(*price))

    def side(
        self, outline: Outline, *, holes: tuple[Outline, ...] = (), flaws: tuple[Flaw, ...] = ()
    ) -> Hide:
        """The side of leather with this label; its backbone runs along y = 0."""
        left, _, right, _ = outline.bounds
        backbone = np.array([(left, 0.0), (right, 0.0)])
        backbone.setflags(write=False)
        return Hide(
            self.name,
            "side",
            self.tannage,
            outline,
            holes,
            backbone,
            flaws,
            price=self.price,
            supplier_area=self.supplier_area,
        )


def _price(amount: str, currency: str, per: str) -> Price:
    try:
        value = float(amount)
    except ValueError:
        value = -1.0
    if not 0 <= value <= 1e9:
        raise InputError(
            f"{amount!r} is no price.", mend="Write amount, currency and per: 9.50 EUR ft2."
        )
    return Price(value, currency, per)
