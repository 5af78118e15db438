"""``python -m raylab.cli``."""

import sys

from . import run

sys.exit(run())
