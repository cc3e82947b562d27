"""Drawing in millimetres: a page and its pens, and what a picture shows of hides and parts.

``words`` and ``sheet`` first, ``palette``, then ``labels`` and ``rows``, then ``tints``,
``leather`` and ``parts`` (pictures). Nothing outside this package touches matplotlib.
"""
