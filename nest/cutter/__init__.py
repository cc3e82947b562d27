"""From a checked plan to the files and pages that it is cut from.

Data flows one way: contours → set-ups → kerf → order → strokes → program → file → read-back.
Nothing here knows how the plan was found.
"""
