"""Hypothesis without a clock (two cores may be busy), and with the same examples in every CI run."""

import os

from hypothesis import settings

settings.register_profile("house", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("house")
