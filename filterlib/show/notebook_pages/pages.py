"""The notebooks as pages for who has no Jupyter: run once, with still pictures, and nothing to fetch from a network."""

from __future__ import annotations

import html
import re
import tempfile
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from filterlib.show.folder import RUN, write_files
from filterlib.show.notebook_pages.notebooks import METADATA, notebooks
from filterlib.show.numbers import json_text
from filterlib.show.page import render

if TYPE_CHECKING:
    from nbclient import NotebookClient
    from nbformat import NotebookNode

Progress = Callable[[float, str], None]
LONGEST = 600  # [s] that a cell may take
_SCROLL = '<div class="scroll" role="group" tabindex="0" aria-label="{}">'
AT_ONCE = 2  # notebooks that run beside each other, each in a kernel of its own


@dataclass(frozen=True)
class Shown:
    """One piece of a page: ``kind`` "words" (HTML), "code", "folded" or "said" (text), or "picture" (base64) with its ``words``; one that
    answers a guess is "covered"."""

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
    paths = notebooks()
    pages = [page_of(path.stem, one) for path, one in zip(paths, _all_executed(paths, progress), strict=True)]
    names = ["index.html", *(page.file for page in pages), "pages.json"]
    texts = {
        page.file: render("notebook.html.j2", page=page, before=before, after=after, files=names)
        for before, page, after in zip([None, *pages[:-1]], pages, [*pages[1:], None], strict=True)
    }
    texts["index.html"] = render("notebooks.html.j2", pages=pages, files=names)
    texts["pages.json"] = json_text({"run": RUN, "files": names})
    write_files(folder, texts, last="pages.json")
    return Path(folder) / "index.html"


def _all_executed(paths: Sequence[Path], progress: Progress | None) -> list[NotebookNode]:
    """Every notebook run, `AT_ONCE` at a time, each in a thread: Ctrl-C stays with the command, and ends their kernels at once."""
    done, found, failed = dict.fromkeys(paths, 0.0), dict[Path, "NotebookNode"](), list[BaseException]()
    left, clients, one_at_a_time = iter(paths), list["NotebookClient"](), threading.Lock()

    def tell(path: Path, share: float) -> None:
        with one_at_a_time:
            done[path] = share
            if progress is not None:
                progress(sum(done.values()) / len(paths), path.stem)

    def run() -> None:
        for path in left:
            try:
                found[path] = executed(path, partial(tell, path), clients.append)
            except BaseException as error:
                failed.append(error)
            if failed:
                return

    threads = [threading.Thread(target=run, daemon=True) for _ in range(AT_ONCE)]
    try:
        for thread in threads:
            thread.start()
        while any(thread.is_alive() for thread in threads):
            threads[0].join(0.05)
            threads[-1].join(0.05)
    except KeyboardInterrupt as error:
        failed.append(error)
        for client in clients:
            _kill(client.km)
        raise
    if failed:
        raise failed[0]
    return [found[path] for path in paths]


def executed(path: Path, tell: Callable[[float], None], started: Callable[[NotebookClient], None]) -> NotebookNode:
    """A notebook with its outputs, run in an empty folder; ``tell`` is called with the share done, ``started`` with its client."""
    import nbformat
    from nbclient import NotebookClient

    notebook: NotebookNode = nbformat.read(path, as_version=4)  # type: ignore[no-untyped-call]
    count = sum(cell.cell_type == "code" for cell in notebook.cells)
    done = [0]

    def one_more(**_: object) -> None:
        done[0] += 1
        tell(done[0] / count)

    with tempfile.TemporaryDirectory() as empty:
        client = NotebookClient(
            notebook, timeout=LONGEST, kernel_name="python3", resources={"metadata": {"path": empty}},
            extra_arguments=["--Application.log_level=ERROR"], on_cell_executed=one_more,
        )  # fmt: skip
        started(client)
        client.execute()
    return notebook


def _kill(manager: object) -> None:
    """End a kernel at once, which would else live on until it looks for its parent."""
    process = getattr(getattr(manager, "provisioner", None), "process", None)
    if process is not None:
        process.kill()


def page_of(stem: str, notebook: NotebookNode) -> NotebookPage:
    """The pieces of an executed notebook."""
    pieces = tuple(_pieces(notebook))
    words = next(cell.source for cell in notebook.cells if cell.cell_type == "markdown")
    title, _, rest = words.partition("\n")
    lead = re.sub(r"[*`]| \(No sliders below\?.*\)", "", rest.strip().split("\n\n")[0].replace("\n", " "))
    return NotebookPage(f"{stem}.html", title.lstrip("# "), lead, pieces)


def _pieces(notebook: NotebookNode) -> Iterator[Shown]:
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            yield Shown("words", words(cell.source))
            continue
        yield Shown("folded" if cell.metadata.get("jupyter", {}).get("source_hidden") else "code", cell.source)
        for output in cell.get("outputs", ()):
            yield from _output(output)


def _output(output: NotebookNode) -> Iterator[Shown]:
    data = output.get("data", {})
    if "text/latex" in data:
        yield Shown("words", words(f"$${data['text/latex'].strip('$')}$$"))
    elif "image/png" in data:
        lesson = output.get("metadata", {}).get(METADATA, {})
        if lesson.get("question"):
            yield Shown("words", words(lesson["question"]))
        kind = "covered" if lesson.get("covers") else "picture"
        yield Shown(kind, data["image/png"].strip(), data.get("text/plain", ""))
        if "text/markdown" in data:
            yield Shown("words", words(data["text/markdown"]))
    elif "image/svg+xml" in data:
        yield Shown("words", f"{_SCROLL.format('figure')}{data['image/svg+xml']}</div>")
    elif "text/html" in data:
        yield Shown("words", data["text/html"])
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
    page = page.replace("<table", f"{_SCROLL.format('table')}<table").replace("</table>", "</table></div>")
    page = re.sub(r"\$\$(.+?)\$\$", lambda match: _formula(match[1], "block"), page, flags=re.S)
    return re.sub(r"\$(.+?)\$", lambda match: _formula(match[1], "inline"), page)


def _formula(tex: str, display: str) -> str:
    from latex2mathml.converter import convert

    mathml: str = convert(html.unescape(tex).strip(), display=display)
    if display == "inline":
        return mathml
    return f'<span class="formula" role="group" tabindex="0" aria-label="formula">{mathml}</span>'
