"""What people get: pages to read and cut from, lists, and all files of an answer.

Modules named after a sheet, ``cutplan`` and ``compare`` return a
:class:`nest.draw.sheet.Sheet` or several, ``lists`` CSV. Those that :mod:`nest.answers` names
have ``ENDINGS``, ``facts``, ``picture`` and ``files`` besides.
"""
