"""Settings of the whole test run."""

import os

os.environ.setdefault("NUMBA_NUM_THREADS", str(max(2, os.cpu_count() or 1)))  # so that thread counts can be compared anywhere
