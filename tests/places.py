"""Where tests find the project, and the open data that is not part of it."""

import os
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
DATA = Path(os.environ.get("CROUPON_DATA", ROOT / "../shared"))
