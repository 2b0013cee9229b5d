"""Hypothesis without a clock (two cores may be busy), with the same examples in every CI run; one thread a process; what workers share."""

import os

import pytest
from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: workers that share cores wait for threads
settings.register_profile("house", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("house")


SHARED = (
    "tests/analysis/bench/test_bench_sheet.py", "tests/analysis/test_counts.py", "tests/browser/test_other_pages.py",
    "tests/browser/test_review_page.py", "tests/show/test_verify.py", "tests/test_cli.py", "tests/test_cli_compare.py",
    "tests/test_readme.py",
)  # fmt: skip
"""Files that look at the reviews of `tests/reviews.py`."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Of several workers one takes a whole file, so that what a file makes once is made once; and one all of `SHARED`."""
    from xdist.scheduler import LoadFileScheduling

    class ByFile(LoadFileScheduling):
        def _split_scope(self, nodeid):
            file = super()._split_scope(nodeid)
            return "reviews" if file in SHARED else file

    config.option.loadscopereorder = False  # the browser's notebooks take longest, and come early
    return ByFile(config, log)
