"""``python -m nest`` is ``croupon``."""

import sys

from nest.cli import main

sys.exit(main())
