"""From a knife to the parts of its sheath: section → channel → pattern → make.

A fold-over sheath is one body, folded along the knife's back and sewn along its edge over a
welt, and a belt loop. :func:`make` returns the parts with their marks, the fit station by
station, and the figures a maker works by.
"""

from nest.sheaths.make import make
from nest.sheaths.model import Dimension, Facts, Retention, Sheath, Station
from nest.sheaths.retention import told
from nest.sheaths.stitch import BACKSTITCHES

__all__ = ["BACKSTITCHES", "Dimension", "Facts", "Retention", "Sheath", "Station", "make", "told"]
