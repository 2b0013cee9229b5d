"""Memory of a command."""

import subprocess
import sys

import pytest

FAULTS = """
import resource, sys
import numpy as np
from filterlib.show.process import keep_memory

if sys.argv[1] == "kept":
    keep_memory()
faults = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_minflt
[np.ones(2**17) for _ in range(8)]
before = faults()
for _ in range(50):
    arrays = [np.ones(2**17) for _ in range(8)]
    del arrays
print(faults() - before)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="page faults are counted where glibc may be")
def test_arrays_of_a_command_take_what_others_left():
    """hand: 400 arrays of 1 MB, eight at a time, are 256 pages of 4 kB each; kept, the first eight are cleared and no other."""

    def run(how):
        return int(
            subprocess.run([sys.executable, "-c", FAULTS, how], capture_output=True, text=True, check=True).stdout
        )

    if run("as it is") < 50 * 8 * 256 / 2:
        pytest.skip("this C library keeps memory by itself")
    assert run("kept") < 2 * 8 * 256
