"""Pages as the bytes of files."""

from __future__ import annotations

from nest.draw.sheet import Sheet

KINDS = ("png", "pdf", "svg")


def pictured(sheet: Sheet, name: str) -> dict[str, bytes]:
    """A page in each of :data:`KINDS`, by file name."""
    return {f"{name}.{kind}": sheet.data(kind) for kind in KINDS}
