"""Pullbook: a performance shop's own record of rolling-road pulls, recomputed every time it is read."""

import os

# before numpy is loaded anywhere: its matrices here are so small that threads for one of them wait for each other
# longer than they work, ten times so on a busy machine, and requests run side by side as it is
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
