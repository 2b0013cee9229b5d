"""For the notebook on design reviews: a panel's design saved, reviewed as the command line does it, and read."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from filterlib.analysis.review import review
from filterlib.analysis.review_result import ReviewResult
from filterlib.bench.design_file import load_design
from filterlib.errors import FilterlibError, did_you_mean
from filterlib.show.explore.fragment import Fragment, svg_fragment
from filterlib.show.page import fragment
from filterlib.show.panels import Panel
from filterlib.show.panels.marks import R
from filterlib.show.panels.panel_state import D
from filterlib.show.review_page import review_tables as tables
from filterlib.show.review_page.report import review_files
from filterlib.show.table import Table
from filterlib.words.review.review_sentences import headline, summary


@dataclass(frozen=True)
class Reviewed:
    """A design file that was saved, ``file``, and its review, ``result``."""

    file: Path
    result: ReviewResult

    @property
    def summary(self) -> str:
        """The verdict in a sentence, and the sources of the ripple that is left."""
        return f"{summary(self.result)}\n{headline(self.result)}"

    @property
    def requirements(self) -> Fragment:
        """The table of requirements, each judged at its worst operating point."""
        return self._table(tables.requirements_table(self.result))

    @property
    def stress(self) -> Fragment:
        """The stress on every part against its ratings."""
        return self._table(tables.stress_table(self.result))

    def _table(self, table: Table) -> Fragment:
        return Fragment(fragment("table", table), f"{table.caption}: {len(table.rows)} rows")

    @cached_property
    def _files(self) -> dict[str, str]:
        return review_files(self.result)

    @property
    def figures(self) -> tuple[str, ...]:
        """Names of the review's figures."""
        return tuple(name.removesuffix(".svg") for name in self._files if name.endswith(".svg"))

    def figure(self, name: str) -> Fragment:
        """One of the review's figures, as the page has it. Raises FilterlibError with the nearest name."""
        if name not in self.figures:
            raise FilterlibError(f'no figure "{name}"; {did_you_mean(name, self.figures)}')
        return svg_fragment(self._files[f"{name}.svg"].partition("-->\n")[2], f"figure {name}")


def reviewed(panel: Panel[D, R]) -> Reviewed:
    """Save a panel's design, in a folder that goes away with the session, and review that file."""
    folder = Path(tempfile.mkdtemp(prefix="filterlib-"))
    file = panel.write_design(folder)
    return Reviewed(file, review(load_design(file)))
