"""`python -m tests.benchmarks.same`: commands on every demo design twice, with texts hashed in another order: the same bytes.

Arguments: the commands; all that write a folder, unless given.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]


def written(command, design, folder, seed):
    """Every file of a command in a process of its own."""
    more = {"compare": [str(design)], "bench": ["--reading", "modem 20MHz 4.8 mV"]}.get(command, [])
    command = [sys.executable, "-m", "filterlib.cli", command, str(design), *more, "--out", str(folder)]
    subprocess.run(command, cwd=ROOT, check=False, capture_output=True, env=os.environ | {"PYTHONHASHSEED": seed})
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def main():
    wrong = 0
    for design in sorted((ROOT / "data" / "designs").glob("*.toml")):
        for command in sys.argv[1:] or ("review", "verify", "damp", "compare", "bench"):
            with tempfile.TemporaryDirectory() as place:
                first, second = (written(command, design, Path(place) / seed, seed) for seed in ("1", "2"))
            same = first == second and len(first) > 0
            wrong += not same
            said = "the same bytes" if same else "not the same"
            print(f"{command} {design.name}: {len(first)} files, {said}", flush=True)
    sys.exit(wrong > 0)


if __name__ == "__main__":
    main()
