"""Proposed changes as design files of their own, beside the page, and their lines on the page, ready to paste."""

from __future__ import annotations

from dataclasses import dataclass

from filterlib.analysis.causes.proposals import Proposal
from filterlib.analysis.causes.reasons import ReasonsResult
from filterlib.errors import FilterlibError
from filterlib.show.folder import RUN
from filterlib.show.style import slug
from filterlib.system.design import Design
from filterlib.system.writing import changed_sections, design_toml
from filterlib.words.proposal_sentences import outcome
from filterlib.words.quantities import capital

FOLDER = "changes"
MOST = 5  # changes that have a file
LONGEST = 24  # characters of the change in a file's name


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


def change_files(reasons: ReasonsResult | None) -> tuple[ChangeFile, ...]:
    """The first few changes that help, those with which everything is met at their head; what breaks something has no file."""
    if reasons is None or reasons.judgement is None:
        return ()
    useful = [one for one in reasons.proposals if one.robust or one.better]
    return tuple(_file(number, one, reasons.judgement.design) for number, one in enumerate(useful[:MOST], 1))


def _file(number: int, one: Proposal, was: Design) -> ChangeFile:
    words, told = capital(one.words), outcome(one)
    try:
        sections = changed_sections(was, one.design)
        text = design_toml(one.design.replace(name=f"{was.name}, change {number}"))
    except FilterlibError as error:
        return ChangeFile(words, told, "", "", f"{error}", _sections(was, one.design))
    head = f"# {RUN}\n# {words}.\n# {told}\n"
    return ChangeFile(words, told, f"{FOLDER}/{number}-{_short(one)}.toml", head + text, "", sections)


def _sections(was: Design, now: Design) -> tuple[str, ...]:
    try:
        return changed_sections(was, now)
    except FilterlibError:
        return ()


def _short(one: Proposal) -> str:
    """A change as a short name of a file."""
    return slug(one.words[:LONGEST].rsplit(" ", 1)[0] if len(one.words) > LONGEST else one.words)
