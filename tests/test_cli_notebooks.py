"""The commands `lab` and `pages`: copies that replace nothing, and pages of all notebooks."""

from __future__ import annotations

import json
import os
import re
import sys

import nbformat
import pytest
from jupyter_server.services.kernels.connection.base import BaseKernelWebsocketConnection
from traitlets.utils.importstring import import_item

from filterlib import cli
from filterlib.errors import OutputError
from filterlib.parts.tables import data_folder
from filterlib.show.notebook_pages import prompt
from filterlib.show.notebook_pages.notebooks import METADATA, fresh_copies, notebooks
from filterlib.show.notebook_pages.pages import page_of, words
from filterlib.show.page import render


def states(folder):
    return {copy.name: (copy.state, copy.fresh) for copy in fresh_copies(folder)}


def test_copies_are_new_then_as_they_came(tmp_path):
    names = [path.name for path in notebooks()]
    assert states(tmp_path / "mine") == dict.fromkeys(names, ("new", ""))
    assert states(tmp_path / "mine") == dict.fromkeys(names, ("as it came", ""))
    assert sorted(path.name for path in (tmp_path / "mine").iterdir()) == names


def test_a_changed_notebook_stays_and_the_fresh_one_gets_a_name(tmp_path):
    fresh_copies(tmp_path)
    first = notebooks()[0]
    mine = nbformat.read(tmp_path / first.name, as_version=4)
    mine.cells[0]["source"] = "# Mine"
    nbformat.write(mine, tmp_path / first.name)
    kept = (tmp_path / first.name).read_bytes()
    for _ in range(2):  # the second time the fresh copy is there already
        assert states(tmp_path)[first.name] == ("yours", f"{first.stem}-fresh.ipynb")
    assert (tmp_path / first.name).read_bytes() == kept
    assert (tmp_path / f"{first.stem}-fresh.ipynb").read_bytes() == first.read_bytes()
    (tmp_path / f"{first.stem}-fresh.ipynb").write_text("a note of mine")
    assert states(tmp_path)[first.name] == ("yours", f"{first.stem}-fresh-2.ipynb")
    assert (tmp_path / f"{first.stem}-fresh.ipynb").read_text() == "a note of mine"


def test_nothing_is_written_through_a_link_or_into_a_pipe_and_no_half_copy_stays(tmp_path, monkeypatch):
    first, second, third = (path.name for path in notebooks()[:3])
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / first).symlink_to(tmp_path / "outside.ipynb")
    os.mkfifo(tmp_path / "mine" / second)
    (tmp_path / "mine" / third).mkdir()
    copies = states(tmp_path / "mine")
    assert [copies[name][0] for name in (first, second, third)] == ["yours"] * 3
    assert not (tmp_path / "outside.ipynb").exists()

    def full(descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        fresh_copies(tmp_path / "full")
    assert list((tmp_path / "full").iterdir()) == []


def test_outputs_do_not_make_a_notebook_changed(tmp_path):
    fresh_copies(tmp_path)
    path = tmp_path / notebooks()[0].name
    run = nbformat.read(path, as_version=4)
    next(cell for cell in run.cells if cell.cell_type == "code")["outputs"] = [
        nbformat.v4.new_output("stream", text="high tide\n")
    ]
    nbformat.write(run, path)
    assert states(tmp_path)[path.name] == ("as it came", "")


def test_lab_opens_the_folder(tmp_path, monkeypatch, capsys):
    called = []
    monkeypatch.setattr(prompt, "run_lab", lambda command: called.append(command) or 0)
    assert cli.main(["lab", str(tmp_path / "harbour"), "--no-browser"]) == 0
    *begin, connection, address, local, end = called.pop()
    assert (address, local) == ("--ServerApp.ip=127.0.0.1", "--ServerApp.allow_remote_access=False")
    assert begin == [sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={tmp_path / 'harbour'}"]
    option, _, name = connection.partition("=")
    assert option == "--ServerApp.kernel_websocket_connection_class"
    assert issubclass(import_item(name), BaseKernelWebsocketConnection)
    assert end == "--no-browser"
    assert f"{notebooks()[0].name}: new" in capsys.readouterr().out


def test_lab_passes_on_what_stands_behind_two_dashes(tmp_path, monkeypatch, capsys):
    called = []
    monkeypatch.setattr(prompt, "run_lab", lambda command: called.append(command) or 0)
    monkeypatch.setattr(cli.os, "geteuid", lambda: 0, raising=False)
    assert cli.main(["lab", str(tmp_path / "a"), "--", "--allow-root", "--port=9999"]) == 0
    assert called[0][-2:] == ["--allow-root", "--port=9999"]
    assert "As root" not in capsys.readouterr().out
    assert cli.main(["lab", str(tmp_path / "b c"), "--no-browser"]) == 0
    assert f"filterlib lab '{tmp_path / 'b c'}' -- --allow-root" in capsys.readouterr().out


def test_lab_says_what_is_changed(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(prompt, "run_lab", lambda command: 0)
    (tmp_path / notebooks()[0].name).write_text("not a notebook at all")
    cli.main(["lab", str(tmp_path)])
    assert "is changed and stays as it is; the fresh copy is" in capsys.readouterr().out
    assert (tmp_path / notebooks()[0].name).read_text() == "not a notebook at all"


@pytest.mark.parametrize("command", [["lab", "{}"], ["pages", "--out", "{}"]])
def test_a_file_is_no_folder(tmp_path, monkeypatch, capsys, command):
    monkeypatch.setattr(prompt, "run_lab", lambda command: pytest.fail("opened"))
    monkeypatch.setattr(
        "filterlib.show.notebook_pages.pages.executed", lambda path, *_: nbformat.read(path, as_version=4)
    )
    target = tmp_path / "file"
    target.write_text("mine")
    assert cli.main([part.format(target) for part in command]) == 3
    assert "is a file, not a folder" in capsys.readouterr().err
    assert target.read_text() == "mine"


def test_formulas_and_links_without_a_network():
    page = words("$$ f_0 = \\frac{1}{2\\pi\\sqrt{LC}} $$\n\nsee [next](02-x.ipynb) & <b>more</b>")
    assert "<mfrac>" in page
    assert "<msqrt>" in page
    assert 'href="02-x.html"' in page
    assert "$" not in page


def test_every_notebook_is_short_cells_in_rhythm():
    """Six to sixteen cells, at most five lines of code in each that is shown, no function, no matplotlib, no outputs.

    The checks of the numbers are one folded cell.
    """
    for path in notebooks():
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        assert 6 <= len(cells) <= 16, path.name
        text = "".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")
        for cell in cells:
            if cell["cell_type"] == "code":
                lines = [line for line in "".join(cell["source"]).splitlines() if line.strip() and line[0] != "#"]
                folded = cell["metadata"].get("jupyter") == {"source_hidden": True} and ".check()" in "".join(
                    cell["source"]
                )
                assert len(lines) <= (40 if folded else 5), (path.name, lines)
                assert not cell["outputs"]
                assert cell["execution_count"] is None
        assert "matplotlib" not in text
        assert "def " not in text
        assert ".check()" in text
        assert "assert" in text


def test_pieces_of_a_page():
    notebook = nbformat.v4.new_notebook()
    picture = nbformat.v4.new_output("display_data", data={"image/png": "iVBOR\n", "text/plain": "what it shows"})
    formula = nbformat.v4.new_output("display_data", data={"text/latex": "$\\frac{1}{2}$", "text/plain": "a half"})
    code = nbformat.v4.new_code_cell("panel", outputs=[picture, nbformat.v4.new_output("stream", text="ebb"), formula])
    notebook.cells = [nbformat.v4.new_markdown_cell("# Title\n\nFirst\nlines.\n\nMore"), code]
    page = page_of("09-title", notebook)
    assert (page.file, page.title, page.lead) == ("09-title.html", "Title", "First lines.")
    assert [(piece.kind, piece.words) for piece in page.pieces[1:]] == [
        ("code", ""),
        ("picture", "what it shows"),
        ("said", ""),
        ("words", ""),
    ]
    assert "<mfrac>" in page.pieces[-1].text


def test_a_picture_that_answers_a_guess_comes_folded_after_it():
    data = {"image/png": "iVBOR\n", "text/plain": "12 Ω", "text/markdown": "- try"}
    about = {METADATA: {"question": "**Guess:** how many?", "covers": True}}
    code = nbformat.v4.new_code_cell(
        "panel", outputs=[nbformat.v4.new_output("display_data", data=data, metadata=about)]
    )
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_markdown_cell("# Title\n\nFirst"), code])
    page = page_of("09-title", notebook)
    assert [piece.kind for piece in page.pieces] == ["words", "code", "words", "covered", "words"]
    shown = render("notebook.html.j2", page=page, before=None, after=None, files=[])
    assert "12 Ω" not in re.sub(r"<details>.*?</details>", "", shown, flags=re.DOTALL)
    assert shown.index("how many?") < shown.index("<details>") < shown.index("12 Ω")


def test_lab_puts_a_design_of_ones_own_on_sliders(tmp_path, monkeypatch, capsys):
    """The notebook runs as it is; a design that cannot be read is refused before anything is written."""
    called = []
    monkeypatch.setattr(prompt, "run_lab", lambda command: called.append(command) or 0)
    file = tmp_path / 'old "gauge".toml'
    file.write_text((data_folder() / "designs" / "tide-gauge-clean.toml").read_text(encoding="utf-8"), encoding="utf-8")
    assert cli.main(["lab", str(tmp_path / "harbour"), "--design", str(file)]) == 0
    assert called[0][-1] == "--LabApp.default_url=/lab/tree/sliders-old%20%22gauge%22.ipynb"
    book = nbformat.read(tmp_path / "harbour" / 'sliders-old "gauge".ipynb', as_version=4)
    nbformat.validate(book)
    names: dict = {}
    exec(book.cells[1].source, names)
    assert names["panel"].title == "Tide gauge, clean converter"
    assert cli.main(["lab", str(tmp_path / "none"), "--design", str(tmp_path / "nothing.toml")]) == 2
    assert not (tmp_path / "none").exists()
