"""What becomes of a damaged file: refused with its name and one line a problem, or taken and then finite."""

import signal
import warnings
from contextlib import contextmanager

import numpy as np

from filterlib import load_design, load_recording
from filterlib.bench.answers.readings_file import read_readings
from filterlib.bench.capture.measurement import measure
from filterlib.errors import FilterlibError, InputError
from filterlib.parts.curves.curve_file import read_impedance_curve
from filterlib.parts.curves.touchstone import read_touchstone
from filterlib.parts.tables import load_table
from filterlib.system.limits import load_limit
from tests.fuzz.looked_at import look

LONGEST = 10  # [s] of the processor for one file
LONGEST_LINE = 1200  # characters of a message


def _recording(path):
    found = measure(load_recording(path))
    assert np.isfinite([found.mean, found.rms, found.noise]).all()
    return found


BOARD = """name = "board"
{head}
[converter]
name = "Tarn (invented)"
input_voltage = "24 V"
output_voltage = "28 V"
switching_frequency = "200 kHz"
shape = "triangle"
ripple = {{ {ripple} }}
[[load]]
name = "modem"
kind = "resistive"
resistance = "14 ohm"
{tail}
"""
STATED = 'peak_to_peak = "110 mV"'
MEASURED = '[[filter]]\nkind = "capacitor"\npart = {{ kind = "measured_capacitor", name = "C9", rated_voltage = "50 V", file = "{}"{} }}\n'
NAMING = {  # what a design that names such a file has at its head, as its ripple, and at its tail
    "recording": ("", 'recording = { file = "file.csv", bandwidth = "20 MHz" }', ""),
    "table": ('tables = ["file.toml"]', STATED, ""),
    "limit": ("", STATED, '[[emission]]\nside = "output"\nlimits = ["file.toml"]\n'),
    "curve": ("", STATED, MEASURED.format("file.csv", "")),
    "touchstone": ("", STATED, MEASURED.format("file.s2p", ', connection = "shunt_through"')),
}


def _kept(path):
    """A design beside it that takes its converter from there."""
    board = path.with_name("keeper.toml")
    board.write_text(
        f'name = "board"\n[converter]\nkept = "{path.name}"\n{BOARD[BOARD.index("[[load]]") :].format(tail="")}',
        encoding="utf-8",
    )
    return load_design(board)


READERS = {
    "design": load_design, "recording": _recording, "table": load_table, "limit": load_limit, "curve": read_impedance_curve,
    "touchstone": read_touchstone, "readings": read_readings, "kept": _kept,
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


def named_outcome(sort, path):
    """As `outcome`, of a design beside the file that names it."""
    board = path.with_name("board.toml")
    if sort == "table":  # its parts have names of their own here, for those of the library's tables are taken
        path.write_bytes(path.read_bytes().replace(b'name = "', b'name = "own-'))
    head, ripple, tail = NAMING[sort]
    board.write_text(BOARD.format(head=head, ripple=ripple, tail=tail), encoding="utf-8")
    return outcome("design", board)
