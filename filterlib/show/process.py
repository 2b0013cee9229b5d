"""The process that a command runs in: what it does with memory that is free again."""

from __future__ import annotations

import ctypes
import gc
import sys

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3  # M_TRIM_THRESHOLD, M_MMAP_THRESHOLD of glibc's malloc.h
_KEPT, _LARGEST = 2**28, 2**24  # bytes that are kept, and of an array that is no longer taken from them
_OBJECTS = 200_000  # made since the last search for cycles, before the next one


def keep_memory() -> None:
    """Keep what arrays leave for the next ones: the system would have to clear it again, page by page.

    Cycles of objects, of which a command makes few, are looked for less often too. Where the C library has no ``mallopt``, that is all.
    Source: mallopt(3), Linux man-pages.
    """
    gc.set_threshold(_OBJECTS)
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None) if sys.platform == "linux" else None
    if mallopt is not None:
        mallopt(_TRIM_THRESHOLD, _KEPT)
        mallopt(_MMAP_THRESHOLD, _LARGEST)
