"""The notebooks that come with the library: where they are, and fresh copies of them for who opens them."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from filterlib.disk import write_text
from filterlib.errors import OutputError

METADATA = "filterlib"  # where a panel's output has its guess, for a page without sliders
State = Literal["new", "as it came", "yours"]


@dataclass(frozen=True)
class Copy:
    """What became of one notebook: ``name`` in the folder, ``state``, and the ``fresh`` copy's name beside a changed one.

    "new": it was not there; "as it came": there, and the same;
    "yours": changed, and left as it is.
    """

    name: str
    state: State
    fresh: str = ""


def notebook_folder() -> Path:
    """The folder ``notebooks``: inside an installed package, else beside it in a checkout."""
    package = Path(__file__).resolve().parents[2]
    return package / "_notebooks" if (package / "_notebooks").is_dir() else package.parent / "notebooks"


def notebooks() -> list[Path]:
    """All of them, in the order in which one reads them."""
    return sorted(notebook_folder().glob("*.ipynb"))


def fresh_copies(folder: str | Path) -> list[Copy]:
    """Copy the notebooks into a folder, which is created where there is none; nothing that was changed there is replaced.

    A notebook counts as changed when the text of its cells is another; outputs do not matter. Beside a changed one the
    fresh copy gets a name of its own.

    Raises
    ------
    OutputError
        Where the folder or a file in it cannot be written.
    """
    target = Path(folder)
    if not str(folder):
        raise OutputError("the name of the folder is empty: give one, or none for filterlib-notebooks")
    if target.exists() and not target.is_dir():
        raise OutputError(f"{target}: is a file, not a folder")
    try:
        target.mkdir(parents=True, exist_ok=True)
        return [_copy(path, target) for path in notebooks()]
    except OSError as error:
        raise OutputError(f"{error.filename or target}: cannot be written: {error.strerror or error}") from None


def own_notebook(folder: str | Path, design: str | Path) -> Path:
    """A notebook in the folder that has a design file on sliders; one that is there already stays as it is.

    Raises OutputError where it cannot be written.
    """
    file = Path(design).resolve()
    target = Path(folder) / f"sliders-{file.stem}.ipynb"
    words = f"# {file.stem} on sliders\n\nMenu *Run*, *Run All Cells* shows the sliders. *Save design file* writes a copy beside this notebook; the file itself stays."
    code = f"from filterlib.show.explore.pi_filter import pi_panel\n\npanel = pi_panel({json.dumps(str(file), ensure_ascii=False)})\npanel"
    cells = [_cell("markdown", words), _cell("code", code) | {"execution_count": None, "outputs": []}]
    cells[1]["metadata"] = {"jupyter": {"source_hidden": True}}
    kernel = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}
    book = {"cells": cells, "metadata": kernel, "nbformat": 4, "nbformat_minor": 5}
    if not os.path.lexists(target):
        write_text(target, json.dumps(book, ensure_ascii=False, indent=1) + "\n")
    return target


def _cell(kind: str, source: str) -> dict[str, object]:
    return {"cell_type": kind, "id": kind, "metadata": {}, "source": source.splitlines(keepends=True)}


def _copy(path: Path, target: Path) -> Copy:
    there = target / path.name
    if not os.path.lexists(there):
        write_text(there, path.read_text(encoding="utf-8"))
        return Copy(path.name, "new")
    if _cells(there) == _cells(path):
        return Copy(path.name, "as it came")
    fresh = target / f"{path.stem}-fresh.ipynb"
    count = 2
    while os.path.lexists(fresh) and _cells(fresh) != _cells(path):
        fresh, count = target / f"{path.stem}-fresh-{count}.ipynb", count + 1
    if not os.path.lexists(fresh):
        write_text(fresh, path.read_text(encoding="utf-8"))
    return Copy(path.name, "yours", fresh.name)


def _cells(path: Path) -> object:
    """Kind and text of every cell; the file's own text where it is no notebook, None where it is no file, as a link that leads nowhere."""
    if not path.is_file():
        return None
    text = path.read_text(encoding="utf-8", errors="replace")
    try:
        return [(cell["cell_type"], "".join(cell["source"])) for cell in json.loads(text)["cells"]]
    except (ValueError, KeyError, TypeError):
        return text
