"""Which kind of drawing a file holds, told by its content, and reading it."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

from hides.errors import OutlineError, placed
from hides.files import read_whole
from hides.trace.silhouette import Silhouette
from hides.trace.svg import svg_drawing

SIZE_LIMIT = 20_000_000  # bytes; a knife's outline takes a few thousand
_MAGIC = (  # how a file that is no drawing begins
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"PK\x03\x04", "a ZIP archive"),
)


def read_drawing(path: Path | str) -> Silhouette:
    """Read the silhouette of an ``.svg`` or ``.dxf`` file.

    Raises
    ------
    InputError : no such file, or one over 20 MB.
    OutlineError : not an SVG or DXF inside, nothing filled, an open path, or several objects;
        with the file and how to mend it.
    """
    path = Path(path)
    with placed(file=path):
        if _sniffed(path) == "svg":
            return svg_drawing(path)
        from hides.trace.dxf import dxf_drawing  # its reader is slow to load

        return dxf_drawing(path)


def _sniffed(path: Path) -> str:
    """``svg`` or ``dxf``, told by the content, and the name has to agree."""
    kind = _kind_of(read_whole(path, SIZE_LIMIT, mend="Save the outline alone.")[:4096])
    suffix = path.suffix.lower()
    if suffix not in (".svg", ".dxf"):
        ending = f"'{suffix}'" if suffix else "no ending"
        raise OutlineError(f"a drawing is an .svg or a .dxf file, and this name has {ending}.")
    if suffix != f".{kind}":
        raise OutlineError(
            f"the file is named {suffix} and holds {_named(kind)}.",
            mend="Save it again as SVG or DXF, under a name that says so.",
        )
    return kind


def _kind_of(head: bytes) -> str:
    for magic, name in _MAGIC:
        if head.startswith(magic):
            return name
    if not head.strip():
        return "nothing"
    if head.startswith(b"AutoCAD Binary DXF"):  # the format's own first bytes
        return "dxf"
    text = head.decode("utf-16" if head[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8", "replace")
    if "<svg" in text or ":svg" in text:
        return "svg"
    lines = [line.strip() for line in text.lstrip("\ufeff").splitlines()[:40]]
    if any(pair == ("0", "SECTION") for pair in pairwise(lines)):
        return "dxf"
    return "svg" if text.lstrip("\ufeff \r\n\t").startswith("<?xml") else "something else"


def _named(kind: str) -> str:
    return {"svg": "an SVG drawing", "dxf": "a DXF drawing"}.get(kind, kind)
