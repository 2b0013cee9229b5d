"""`python -m tests.oldest`: the tests with the oldest versions that pyproject.toml allows, in an environment of its own.

Arguments go to pytest; without any, everything runs. ``--in FOLDER`` keeps the environment there for the next time. Warnings of
deprecation are left out: the old libraries call newer ones that they bring with them.
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


def made(place):
    """The python of an environment in that folder, with the oldest versions and the project as it stands here."""
    python = place / "bin" / "python"
    if not python.exists():
        venv.create(place, with_pip=True)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = oldest([*project["dependencies"], *project["optional-dependencies"]["test"]])
    subprocess.run([python, "-m", "pip", "install", "-q", *wanted], check=True)
    subprocess.run([python, "-m", "pip", "install", "-q", "--no-deps", "-e", str(ROOT)], check=True)
    return python


def main(arguments):
    with tempfile.TemporaryDirectory() as place:
        if arguments[:1] == ["--in"]:
            place, arguments = arguments[1], arguments[2:]
        options = ["-W", "ignore::DeprecationWarning", "-p", "no:cacheprovider", *arguments]
        return subprocess.run(
            [made(Path(place).absolute()), "-m", "pytest", *options], cwd=ROOT, check=False
        ).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
