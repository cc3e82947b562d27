"""The command ``croupon``: each verb parses, calls the public door :mod:`nest`, and tells.

Exit codes: 0 done, 1 the input is sound but no valid plan exists or was found, 2 the input
can't be used. Nothing is printed before all files of an answer are written.
"""

from nest.cli.main import main

__all__ = ["main"]
