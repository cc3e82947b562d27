"""Remarks: what in a sound hide record looks odd, or is missing and would help.

Nothing here stops a plan; each remark is one or two plain sentences for the user.
"""

from __future__ import annotations

from collections.abc import Iterator

from shapely import Point, Polygon, box

from hides.hide import Hide
from hides.outline import Outline
from hides.thickness import EVEN
from hides.units import area_text

AREA_DOUBT = 0.03  # buyers and sellers bargain over 2 to 3 % (common practice, no published source)
FRAME_DOUBT = 0.1  # of length or depth
FEW_READINGS = 10
ROUGH = 1.15  # of the wave height of even leather: higher ones are spoken of
BARE_SHARE = 0.01  # share of a hide that may go without a zone unremarked
STRAIGHT_WITHIN = 25.0  # mm; so near to a line along the backbone a side's edge is straight
MOSTLY_OFF = 0.5  # of a flaw
ZONE_DOUBT = 0.2  # mm; a reading may lie so much beyond the range of its zone


def remarks(hide: Hide) -> tuple[str, ...]:
    """All there is to remark on a hide, the weightier first."""
    found = (_of_area, _of_frame, _of_knowledge, _of_readings, _of_zones, _of_flaws)
    return tuple(sentence for about in found for sentence in about(hide))


def of_readings(hide: Hide) -> tuple[str, ...]:
    """What is to be remarked on a hide's readings alone, the weightier first."""
    return (*_of_readings(hide), *_of_roughness(hide))


def _of_area(hide: Hide) -> Iterator[str]:
    stamped = hide.supplier_area
    if stamped and abs(hide.gross_area / stamped - 1) > AREA_DOUBT:
        yield (
            f"The outline holds {area_text(hide.gross_area)}, "
            f"{hide.gross_area / stamped - 1:+.1%} against the stamped {area_text(stamped)}. "
            "Check the scale of the outline, or ask the seller."
        )
    if hide.price is None:
        yield "No price is given, so costs can't be told."


def _of_frame(hide: Hide) -> Iterator[str]:
    """A side's regions are found from its frame, so a shifted frame turns parts the wrong way."""
    left, low, right, high = hide.outline.bounds
    back, belly = (low, high) if abs(low) <= abs(high) else (high, low)  # a right side: y < 0
    off_x, off_y = abs(left) / (right - left), abs(back) / (high - low)
    if hide.piece == "side" and max(off_x, off_y) > FRAME_DOUBT:
        yield (
            f"The outline begins at ({left:.0f}, {back:.0f}); a side's frame should have the tail "
            "root at x = 0 and the backbone at y = 0. Stretch directions may be wrong."
        )
    if hide.piece == "side" and straight(hide.outline, belly) > straight(hide.outline, back):
        yield (
            "The straight edge of this side lies where the belly should be, so the outline is "
            "turned or mirrored: a side cut along the backbone has its straight edge at y = 0."
        )


def straight(outline: Outline, y: float) -> float:
    """Length in mm of the edge within STRAIGHT_WITHIN of the line at ``y`` along the backbone."""
    left, _, right, _ = outline.bounds
    strip = box(left - 1.0, y - STRAIGHT_WITHIN, right + 1.0, y + STRAIGHT_WITHIN)
    return float(outline.polygon.exterior.intersection(strip).length)


def _of_knowledge(hide: Hide) -> Iterator[str]:
    if not hide.tannage:
        yield "The tannage is not known, so no laser takes this hide: write it into the record."
    if not hide.thickness.known:
        yield (
            "No thickness is given, so no part that asks for one can lie there: add readings or "
            "zones."
        )
        return
    bare = hide.polygon.difference(hide.thickness.zoned)
    if not hide.readings and bare.area > BARE_SHARE * hide.gross_area:
        yield (
            f"Zones leave {bare.area / hide.gross_area:.0%} of the leather without a thickness, "
            "and there are no readings: no part that asks for one can lie there."
        )
    if 0 < len(hide.readings) < FEW_READINGS and bare.area > BARE_SHARE * hide.gross_area:
        yield (
            f"Only {len(hide.readings)} readings: thickness is doubtful between them, and little "
            "leather will count as sure. 25 spread over the hide are good."
        )
    yield from _of_roughness(hide)


def _of_roughness(hide: Hide) -> Iterator[str]:
    """Where the thickness varies faster than the readings can follow, how many more it takes."""
    counted, waves = len(hide.thickness.counted), hide.thickness.waves
    wanted = hide.thickness.wanted(hide.polygon)
    if waves and waves[0] > ROUGH * EVEN and FEW_READINGS <= counted < wanted:
        yield (
            f"Thickness varies by ±{waves[0]:.2f} mm within shorter ways than the readings are "
            f"apart, so it is doubtful between them and more readings are needed: {counted} count, "
            f"about {wanted} spread over the hide would follow it."
        )


def _of_readings(hide: Hide) -> Iterator[str]:
    for at, (reading, off) in enumerate(
        zip(hide.readings, hide.thickness.surprises(), strict=True), start=1
    ):
        if off:
            yield (
                f"Reading {at} at ({reading.x:.0f}, {reading.y:.0f}), {reading.thickness:.2f} mm, "
                f"is {abs(off):.2f} mm {'more' if off > 0 else 'less'} than its neighbours "
                "foretell, so it counts for nothing. Measure it again; if it is right, confirm it "
                f"(croupon hide add --confirm {at})."
            )
        for zone in hide.zones:
            beyond = max(zone.low - reading.thickness, reading.thickness - zone.high)
            if beyond > ZONE_DOUBT and zone.polygon.contains(Point(reading.x, reading.y)):
                yield (
                    f"Reading {at}, {reading.thickness:.2f} mm, lies in the zone '{zone.name}', "
                    f"given as {zone.low:g} to {zone.high:g} mm. The zone counts; is it right?"
                )


def _of_zones(hide: Hide) -> Iterator[str]:
    for at, zone in enumerate(hide.zones):
        if not zone.polygon.intersects(hide.polygon):
            yield f"Zone '{zone.name}' lies off the leather."
        if zone.polygon.interiors:
            count = len(zone.polygon.interiors)
            open_ = sum(Polygon(ring).area for ring in zone.polygon.interiors)
            yield (
                f"Zone '{zone.name}' has {count} {'hole' if count == 1 else 'holes'} of "
                f"{open_ / 100:.0f} cm² in all; there it doesn't count. Is that meant?"
            )
        for other in hide.zones[:at]:
            shared = zone.polygon.intersection(other.polygon).area
            if shared > 100.0 and (zone.low, zone.high) != (other.low, other.high):
                yield (
                    f"Zones '{other.name}' and '{zone.name}' overlap by {shared / 100:.0f} cm²; "
                    f"there '{zone.name}' counts, as it comes later."
                )


def _of_flaws(hide: Hide) -> Iterator[str]:
    for at, flaw in enumerate(hide.flaws, start=1):
        off = 1.0 - flaw.shape.intersection(hide.polygon).area / flaw.shape.area
        if off > MOSTLY_OFF:
            where, how = flaw.shape.centroid, "" if off > 0.999 else "mostly "
            yield (
                f"Flaw {at} ({flaw.kind}) at ({where.x:.0f}, {where.y:.0f}) lies {how}off the "
                "leather."
            )
