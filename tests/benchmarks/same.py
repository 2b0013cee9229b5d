"""`python -m tests.benchmarks.same`: every demo design reviewed twice, with texts hashed in another order: the same bytes."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]


def written(design, folder, seed):
    """Every file of a review in a process of its own."""
    command = [sys.executable, "-m", "filterlib.cli", "review", str(design), "--out", str(folder)]
    subprocess.run(command, cwd=ROOT, check=False, capture_output=True, env=os.environ | {"PYTHONHASHSEED": seed})
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def main():
    wrong = 0
    for design in sorted((ROOT / "data" / "designs").glob("*.toml")):
        with tempfile.TemporaryDirectory() as place:
            first, second = (written(design, Path(place) / seed, seed) for seed in ("1", "2"))
        same = first == second and len(first) > 2
        wrong += not same
        print(f"{design.name}: {len(first)} files, {'the same bytes' if same else 'not the same'}", flush=True)
    sys.exit(wrong > 0)


if __name__ == "__main__":
    main()
