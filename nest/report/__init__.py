"""What people get: pages to read and cut from, lists, and a drawing for the cutter.

``hidesheet``, ``cutplan``, ``pattern`` and ``compare`` return a :class:`nest.draw.sheet.Sheet`;
``lists`` and ``dxf`` write files.
"""
