"""What tests ask of the words on a sheet, and of a sheet as SVG."""

import re

import numpy as np
from shapely import STRtree

NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")
NAMES = re.compile(r'\bid="[^"]*"|url\(#[^)]*|href="#[^"]*')  # made from numbers, too


def drawn_alike(one: bytes, other: bytes) -> bool:
    """Whether two SVGs are the same to 0.02 pt: processors differ in the last digits they show."""
    texts = [NAMES.sub("", data.decode()) for data in (one, other)]
    numbers = [np.array(NUMBER.findall(text), dtype=float) for text in texts]
    return NUMBER.sub("", texts[0]) == NUMBER.sub("", texts[1]) and np.allclose(
        *numbers, rtol=0.0, atol=0.02
    )


def said(sheet):
    return [words.text for words in sheet.words]


def overlaps(sheet):
    """Pairs of words whose ink boxes share ground."""
    boxes = [words.box for words in sheet.words]
    pairs = STRtree(boxes).query(boxes, predicate="intersects").T
    return [
        (sheet.words[i].text, sheet.words[j].text)
        for i, j in pairs
        if i < j and boxes[i].intersection(boxes[j]).area > 0.02
    ]
