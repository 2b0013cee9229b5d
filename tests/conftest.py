"""Hypothesis without a clock (two cores may be busy), with the same examples in every CI run; one thread a process."""

import os

from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: workers that share cores wait for threads
settings.register_profile("house", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("house")
