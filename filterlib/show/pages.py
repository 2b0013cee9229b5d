"""The notebooks as pages for who has no Jupyter: run once, with still pictures, and nothing to fetch from a network."""

from __future__ import annotations

import html
import re
import tempfile
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from filterlib.show.folder import RUN, write_files
from filterlib.show.notebooks import notebooks
from filterlib.show.numbers import json_text
from filterlib.show.page import render

if TYPE_CHECKING:
    from nbformat import NotebookNode

Progress = Callable[[float, str], None]
LONGEST = 600  # [s] that a cell may take


@dataclass(frozen=True)
class Shown:
    """One piece of a page: ``kind`` "words" (HTML), "code" or "said" (text), or "picture" (base64) with its ``words``."""

    kind: str
    text: str
    words: str = ""


@dataclass(frozen=True)
class NotebookPage:
    """One notebook as a page: its ``file``, ``title``, first paragraph and pieces."""

    file: str
    title: str
    lead: str
    pieces: tuple[Shown, ...]


def write_pages(folder: str | Path, *, progress: Progress | None = None) -> Path:
    """Run every notebook and write it as a page, with an index.

    Parameters: ``folder``; ``progress``: called with the share done and the notebook at hand.
    Returns: the path of the index.
    Raises: OutputError where the folder cannot be written. A notebook that fails raises nbclient's CellExecutionError:
    that is a fault of the program.
    """
    paths, pages = notebooks(), []
    for number, path in enumerate(paths):
        tell = None if progress is None else lambda share, n=number, p=path: progress((n + share) / len(paths), p.stem)
        pages.append(page_of(path.stem, executed(path, tell)))
    names = ["index.html", *(page.file for page in pages), "pages.json"]
    texts = {
        page.file: render("notebook.html.j2", page=page, before=before, after=after, files=names)
        for before, page, after in zip([None, *pages[:-1]], pages, [*pages[1:], None], strict=True)
    }
    texts["index.html"] = render("notebooks.html.j2", pages=pages, files=names)
    texts["pages.json"] = json_text({"run": RUN, "files": names})
    write_files(folder, texts, last="pages.json")
    return Path(folder) / "index.html"


def executed(path: Path, tell: Callable[[float], None] | None) -> NotebookNode:
    """A notebook with its outputs, run in an empty folder; ``tell`` is called with the share done."""
    import nbformat
    from nbclient import NotebookClient

    notebook: NotebookNode = nbformat.read(path, as_version=4)  # type: ignore[no-untyped-call]
    count = sum(cell.cell_type == "code" for cell in notebook.cells)
    done = [0]

    def one_more(**_: object) -> None:
        done[0] += 1
        if tell is not None:
            tell(done[0] / count)

    with tempfile.TemporaryDirectory() as empty:
        client = NotebookClient(
            notebook, timeout=LONGEST, kernel_name="python3", resources={"metadata": {"path": empty}},
            extra_arguments=["--Application.log_level=ERROR"], on_cell_executed=one_more,
        )  # fmt: skip
        try:
            _beside(client.execute)
        except KeyboardInterrupt:
            _kill(client.km)
            raise
    return notebook


def _kill(manager: object) -> None:
    """End a kernel at once, which would else live on until it looks for its parent."""
    process = getattr(getattr(manager, "provisioner", None), "process", None)
    if process is not None:
        process.kill()


def _beside(work: Callable[[], object]) -> None:
    """Run the work in a thread of its own: Ctrl-C stays with the command, where a notebook's client would take it for itself."""
    failed: list[BaseException] = []

    def run() -> None:
        try:
            work()
        except BaseException as error:
            failed.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    while thread.is_alive():
        thread.join(0.1)
    if failed:
        raise failed[0]


def page_of(stem: str, notebook: NotebookNode) -> NotebookPage:
    """The pieces of an executed notebook."""
    pieces = tuple(_pieces(notebook))
    words = next(cell.source for cell in notebook.cells if cell.cell_type == "markdown")
    title, _, rest = words.partition("\n")
    lead = re.sub(r"[*`]", "", rest.strip().split("\n\n")[0].replace("\n", " "))
    return NotebookPage(f"{stem}.html", title.lstrip("# "), lead, pieces)


def _pieces(notebook: NotebookNode) -> Iterator[Shown]:
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            yield Shown("words", words(cell.source))
            continue
        yield Shown("code", cell.source)
        for output in cell.get("outputs", ()):
            yield from _output(output)


def _output(output: NotebookNode) -> Iterator[Shown]:
    data = output.get("data", {})
    if "image/png" in data:
        yield Shown("picture", data["image/png"].strip(), data.get("text/plain", ""))
        if "text/markdown" in data:
            yield Shown("words", words(data["text/markdown"]))
    elif "image/svg+xml" in data:
        yield Shown("words", data["image/svg+xml"])
    elif "text/html" in data:
        yield Shown("words", data["text/html"])
    elif "text/latex" in data:
        yield Shown("words", words(f"${data['text/latex'].strip('$')}$"))
    else:
        text = output.get("text") or data.get("text/plain", "")
        if text:
            yield Shown("said", text)


def words(markdown: str) -> str:
    r"""Markdown as HTML, its formulas as MathML, links to notebooks as links to their pages.

    >>> words("see [2](02-choke.ipynb)")
    '<p>see <a href="02-choke.html">2</a></p>\n'
    >>> "<math" in words("$$ Z = R $$")
    True
    """
    from nbconvert.filters.markdown_mistune import markdown2html_mistune

    text = re.sub(r"\]\(([\w-]+)\.ipynb\)", r"](\1.html)", markdown)
    page = markdown2html_mistune(text)
    page = re.sub(r'<a class="anchor-link"[^>]*>.*?</a>', "", page)
    page = re.sub(r"\$\$(.+?)\$\$", lambda match: _formula(match[1], "block"), page, flags=re.S)
    return re.sub(r"\$(.+?)\$", lambda match: _formula(match[1], "inline"), page)


def _formula(tex: str, display: str) -> str:
    from latex2mathml.converter import convert

    return convert(html.unescape(tex).strip(), display=display)
