"""``python -m raylab.cli``."""

import sys

from . import main

sys.exit(main())
