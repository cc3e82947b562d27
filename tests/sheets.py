"""What tests ask of the words on a sheet."""

from shapely import STRtree


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
