"""What people get: pages to read and cut from, lists, and a drawing for the cutter.

Modules named after a sheet, ``cutplan`` and ``compare`` return a
:class:`nest.draw.sheet.Sheet` or several; ``lists`` and ``dxf`` write files.
"""
