"""Damping branches as text for a terminal, as design files, and as numbers for other programs."""

from __future__ import annotations

import json
from pathlib import Path

from filterlib.analysis.damping.damping_result import DampedDesign, DampingResult
from filterlib.bench.design_copy import changed_text
from filterlib.show.folder import RUN, headed, write_files
from filterlib.show.numbers import Section, numbers
from filterlib.show.style import slug
from filterlib.words.damping_sentences import HOT, damper_lines, damping_opening, proof_sentence, unstable_words

NUMBERS = "damp.json"
FORMAT = 1  # of damp.json; raised whenever a key changes its name or its meaning
WARM = 0.1  # [J] at switch-on from which a resistor is to be one for pulses: common practice, no source


def write_damping(result: DampingResult, folder: str | Path, file: str | Path | None = None) -> None:
    """Write a design file for each branch, and damp.json, into a folder as `write_files` does; ``file``: the design's.

    Raises OutputError.
    """
    write_files(folder, damping_files(result, file), last=NUMBERS)


def damping_text(result: DampingResult, folder: str | None = None) -> str:
    """What is printed: the opening, and each branch with its lines and, in a ``folder``, its file."""
    lines = [damping_opening(result)]
    for name, one in zip(_names(result), result.dampers, strict=True):
        first, *others = damper_lines(one)
        lines += ["", first, *(f"  {line}" for line in others)]
        lines += [f"  {Path(folder) / name}"] if folder else []
    lines += ["", *(proof_sentence(one) for one in result.proofs)] if result.proofs else []
    if any(one.switch_on > WARM for one in result.dampers):
        lines += ["", HOT]
    return "\n".join([*lines, "", "Design files: give --out FOLDER"] if not folder else lines)


def damping_files(result: DampingResult, file: str | Path | None = None) -> dict[str, str]:
    """Every file: name -> text, in which `RUN` stands for the run's identifier."""
    names = _names(result)
    files = {
        name: _toml(number, one, file) for number, (name, one) in enumerate(zip(names, result.dampers, strict=True), 1)
    }
    sections = [{"file": name, **_section(one)} for name, one in zip(names, result.dampers, strict=True)]
    whole = {
        "run": RUN,
        "format": FORMAT,
        "design": result.judgement.design.name,
        "dampers": sections,
        "proofs_of_the_first": [
            {"point": one.point, "verdict": one.verdict, "words": proof_sentence(one)} for one in result.proofs
        ],
        "files": [*files, NUMBERS],
    }
    return {**files, NUMBERS: json.dumps(whole, indent=1, ensure_ascii=False)}


def _names(result: DampingResult) -> list[str]:
    return [f"{number}-{slug(one.part)}.toml" for number, one in enumerate(result.dampers, 1)]


def _toml(number: int, one: DampedDesign, file: str | Path | None) -> str:
    return headed(
        changed_text(file, one.design.replace(name=f"{one.design.name}, damping {number}")), damper_lines(one)
    )


def _section(one: DampedDesign) -> Section:
    said = {"change": one.proposal.words, "network": one.network, "everything_met": one.proposal.robust}
    return said | {"stable": not unstable_words(one.proposal.judgement)} | numbers(one) | numbers(one.resistor)
