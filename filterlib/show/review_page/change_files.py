"""Proposed changes as design files of their own, beside the page, and their lines on the page, ready to paste."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from filterlib.analysis.judged import Proposal
from filterlib.analysis.review_result import ReasonsResult
from filterlib.bench.design_copy import changed_text
from filterlib.errors import FilterlibError
from filterlib.show.folder import headed
from filterlib.show.style import slug
from filterlib.system.design import Design
from filterlib.system.file.writing import changed_sections
from filterlib.words.quantities import capital
from filterlib.words.review.proposal_sentences import outcome

FOLDER = "changes"
MOST = 5  # changes that have a file
LONGEST = 28  # characters of the change in a file's name
_LITTLE = (
    "a",
    "across",
    "as",
    "at",
    "beside",
    "by",
    "each",
    "for",
    "from",
    "in",
    "of",
    "on",
    "the",
    "to",
    "where",
    "with",
)


@dataclass(frozen=True)
class ChangeFile:
    """One change in ``words``, and its ``outcome``.

    ``file`` below the page's folder, with its ``text``, or "" and ``why`` where it cannot be written; ``sections`` of the design
    file that differ.
    """

    words: str
    outcome: str
    file: str
    text: str
    why: str
    sections: tuple[str, ...]


def change_files(reasons: ReasonsResult | None, file: str | Path | None = None) -> tuple[ChangeFile, ...]:
    """The first few changes that help, those with which everything is met at their head; what breaks something has no file.

    ``file`` of the design as it is: then the changes are put into its text.
    """
    if reasons is None or reasons.judgement is None:
        return ()
    return tuple(_file(name, one, reasons.judgement.design, file) for name, one in named_changes(reasons).items())


def named_changes(reasons: ReasonsResult | None) -> dict[str, Proposal]:
    """The first few changes that help, by the names of their files below the page's folder."""
    useful = [one for one in reasons.proposals if one.robust or one.better] if reasons is not None else []
    return {f"{FOLDER}/{number}-{short_name(one.words)}.toml": one for number, one in enumerate(useful[:MOST], 1)}


def _file(name: str, one: Proposal, was: Design, file: str | Path | None) -> ChangeFile:
    words, told = capital(one.words), outcome(one)
    number = Path(name).name.split("-")[0]
    try:
        sections = changed_sections(was, one.design)
        text = headed(changed_text(file, one.design.replace(name=f"{was.name}, change {number}")), (f"{words}.", told))
    except FilterlibError as error:
        return ChangeFile(words, told, "", "", f"{error}", _sections(was, one.design))
    return ChangeFile(words, told, name, text, "", sections)


def _sections(was: Design, now: Design) -> tuple[str, ...]:
    try:
        return changed_sections(was, now)
    except FilterlibError:
        return ()


def short_name(words: str) -> str:
    """A change as a short name of a file: of its first words those that say something.

    >>> short_name("fit dm-47u-5A in the plus line"), short_name("bond modem's return to the chassis by a short strap")
    ('fit-dm-47u-5a-plus-line', 'bond-modem-return-chassis')
    """
    first = words.partition(", and ")[0].replace("'s ", " ")
    telling = " ".join(word for word in first.split() if word not in _LITTLE)
    return slug(telling if len(telling) <= LONGEST else telling[: LONGEST + 1].rpartition(" ")[0])
