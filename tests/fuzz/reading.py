"""What becomes of a damaged file: refused with its name and one line a problem, or taken and then finite."""

import signal
import warnings
from contextlib import contextmanager

import numpy as np

from filterlib import load_design, load_recording
from filterlib.bench.measurement import measure
from filterlib.errors import FilterlibError, InputError
from filterlib.parts.impedance_curve import read_impedance_curve
from filterlib.parts.tables import load_table
from filterlib.parts.touchstone import read_touchstone
from filterlib.system.limits import load_limit
from tests.fuzz.looked_at import look

LONGEST = 10  # [s] of the processor for one file
LONGEST_LINE = 1200  # characters of a message


def _recording(path):
    found = measure(load_recording(path))
    assert np.isfinite([found.mean, found.rms, found.noise]).all()
    return found


READERS = {
    "design": load_design, "recording": _recording, "table": load_table, "limit": load_limit, "curve": read_impedance_curve,
    "touchstone": read_touchstone,
}  # fmt: skip


@contextmanager
def in_time(seconds=LONGEST):
    """Raises AssertionError where the work inside takes longer."""

    def late(*_):
        raise AssertionError(f"longer than {seconds} s of the processor")

    before = signal.signal(signal.SIGPROF, late)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def outcome(sort, path, *, deep=False):
    """ "refused" or "taken"; any error but the library's own comes through, and AssertionError for a message that does not help."""
    with in_time(), warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            found = READERS[sort](path)
            if deep and sort == "design":
                look(found)
            return "taken"
        except InputError as error:
            lines = str(error).split("\n")
            assert all(
                line.startswith(str(path.parent)) and len(line) <= LONGEST_LINE + len(str(path)) for line in lines
            ), lines[:3]
            assert len(lines) <= 21
        except FilterlibError as error:
            if not deep:  # an operating point that cannot be is refused when it is solved
                raise AssertionError(f"nameless: {error}") from error
    return "refused"
