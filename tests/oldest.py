"""`python -m tests.oldest`: the tests with the oldest versions that pyproject.toml allows, in an environment of its own.

Arguments go to pytest; without any, everything runs. Warnings of deprecation are left out: the old libraries call newer ones that
they bring with them.
"""

import re
import subprocess
import sys
import tempfile
import tomllib
import venv
from pathlib import Path

ROOT = Path(__file__).parents[1]


def oldest(requirements):
    """Each requirement at its lower bound.

    >>> oldest(["numpy>=1.26", "rich>=13.7"])
    ['numpy==1.26', 'rich==13.7']
    """
    return [re.sub(r">=", "==", one) for one in requirements]


def main(arguments):
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = oldest([*project["dependencies"], *project["optional-dependencies"]["test"]])
    with tempfile.TemporaryDirectory() as place:
        venv.create(place, with_pip=True)
        python = str(Path(place) / "bin" / "python")
        subprocess.run([python, "-m", "pip", "install", "-q", *wanted], check=True)
        subprocess.run([python, "-m", "pip", "install", "-q", "--no-deps", "-e", str(ROOT)], check=True)
        return subprocess.run(
            [python, "-m", "pytest", "-W", "ignore::DeprecationWarning", "-p", "no:cacheprovider", *arguments],
            cwd=ROOT,
            check=False,
        ).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
