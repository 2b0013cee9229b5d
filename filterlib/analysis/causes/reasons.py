"""Why here and not there: what is left at a load by source, by parasitic, by frequency; what would fix it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np

from filterlib.analysis.causes.by_frequency import bands_of, deviation, resonances_of
from filterlib.analysis.causes.by_source import sources, split
from filterlib.analysis.causes.candidates import Candidate, candidates
from filterlib.analysis.causes.causes_result import (
    Parasitic,
)
from filterlib.analysis.causes.cures import cures
from filterlib.analysis.causes.emission_cures import emission_cures, lowering
from filterlib.analysis.causes.mitigations import Trial, try_all, try_pairs
from filterlib.analysis.causes.parasitics import Ideal, all_ideal, ideals
from filterlib.analysis.causes.proposals import proposals
from filterlib.analysis.causes.worst import causes_of, clash_of, one_line, point_of, worst_failing
from filterlib.analysis.judged import Judgement, deciding_figure, failings
from filterlib.analysis.review_result import Clash, ReasonsResult
from filterlib.analysis.ripple.at_load import Seen, seen
from filterlib.analysis.ripple.ripple_result import narrow_and_wide
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.stability.stability import stability
from filterlib.errors import QuantityError
from filterlib.parts.base import Part
from filterlib.parts.tables import standard_tables
from filterlib.system.solution import Solution

PAIRS = 6  # of the best single changes, that are tried two at a time
Progress = Callable[[float, str], None]


def reasons(
    solution: Solution,
    load: str,
    *,
    parts: Mapping[str, Part] | None = None,
    pairs: int = PAIRS,
    judgement: Judgement | None = None,
    progress: Progress | None = None,
) -> ReasonsResult:
    """Why this much is left at a load, and what would change it.

    Parameters: ``solution`` of one design at a stable operating point; ``load``: its name; ``parts`` that may be bought, by
    name, those of data/parts where None; ``pairs``: so many of the best single changes are tried two at a time, 0 leaves
    pairs out; ``judgement`` of the design: then the best changes are judged as it was, alone and together, unless it is good as it
    is, and no ``pairs`` are tried beside; ``progress``: called with the share done (0 to 1) and what is being done.
    Returns: ReasonsResult, in SI units.
    Raises: FilterlibError for an unknown load, QuantityError for a ``pairs`` that is no whole number from 0, ScaleError where
    the converter's stated figures contradict each other.

    >>> from filterlib.parts.tables import data_folder
    >>> from filterlib import load_design
    >>> from filterlib.system.solution import solve
    >>> design = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> result = reasons(solve(design), "modem", parts={}, pairs=0)
    >>> result.sources[0].name, result.ripple < result.ripple_before
    ('ripple_c', True)
    """
    if isinstance(pairs, bool) or not isinstance(pairs, int) or pairs < 0:
        raise QuantityError("a whole number of changes, 0 or more", name="pairs", value=pairs)
    design, tell = solution.design, progress or (lambda share, text: None)
    design.named_load(load)
    bought = _bought() if parts is None else parts
    if not stability(solution).stable:
        why = _worst(judgement)
        listed = cures(design, bought, why.get("clash"))
        judged = () if judgement is None else proposals(judgement, [(one,) for one in listed])
        return ReasonsResult(solution.point, load, judgement=judgement, proposals=judged, stable=False, **why)
    now = seen(solution, load)
    label, limit = deciding_figure(design, load, {"20MHz": float(now.ripple), "full": float(now.spike)})
    trial = Trial(solution, load, label, now)
    tell(0.0, "parasitics")
    answers = _causes(trial)
    answers |= _worst(judgement)
    answers |= _cures(trial, candidates(design, load, bought), bought, pairs, judgement, answers.get("clash"), tell)
    return ReasonsResult(solution.point, load, label, limit, **answers)


def _bought() -> dict[str, Part]:
    return {name: part for table in standard_tables() for name, part in table.items()}


def _worst(judgement: Judgement | None) -> dict[str, Any]:
    """What fails worst, and its causes."""
    failing = None if judgement is None else worst_failing(judgement)
    if judgement is None or failing is None:
        return {}
    unstable = (*judgement.unstable, *judgement.turned)
    clash = clash_of(unstable[0]) if unstable else None
    return {"worst": failing, "causes": causes_of(judgement, failing), "clash": clash}


def _against_emission(
    judgement: Judgement, listed: tuple[Candidate, ...], bought: Mapping[str, Part]
) -> list[Candidate]:
    """Changes that lower the line which decides an emission that fails; nothing where none does."""
    failing = max(
        (one for one in failings(judgement) if one.kind == "emission"),
        key=lambda one: (one.sure, one.excess),
        default=None,
    )
    line = None if failing is None else one_line(judgement.design, point_of(judgement, failing), failing)
    if line is None:
        return []
    return lowering(line, [*listed, *emission_cures(judgement.design, line.test.side, bought)])


def _causes(trial: Trial) -> dict[str, Any]:
    """What is left, by source, by parasitic and by frequency."""
    solution, load, now = trial.solution, trial.load, trial.now
    design, circuit = solution.design, solution.circuit
    narrow, wide = narrow_and_wide(design)
    before = spectra(solution, filtered=False, outputs={load: design.named_load(load).port})
    apart = split(now.spectra, design)
    every = ideals(design)
    *each, formula = trial.see_all([*(one.design for one in every), all_ideal(design)])
    without: list[tuple[Ideal, Seen]] = list(zip(every, each, strict=True))
    waveform = now.spectra.waveform(load, wide)
    return {
        "ripple": float(now.ripple), "spike": float(now.spike),
        "ripple_before": float(before.peak_to_peak(load, narrow)), "spike_before": float(before.peak_to_peak(load, wide)),
        "ripple_ideal": float(formula.ripple), "spike_ideal": float(formula.spike),
        "fundamental": float(now.fundamental), "fundamental_ideal": float(formula.fundamental),
        "times": np.arange(len(waveform)) * solution.period / len(waveform), "waveform": waveform,
        "sources": sources(apart, load, narrow, wide),
        "parasitics": _listed(trial, without),
        "bands": bands_of(apart, load, without, formula),
        "deviation": deviation(circuit, now, formula, without),
        "resonances": resonances_of(circuit, now.response),
    }  # fmt: skip


def _listed(trial: Trial, without: Iterable[tuple[Ideal, Seen]]) -> tuple[Parasitic, ...]:
    """The parasitics, by how much the figure that decides falls without each."""
    now = trial.now
    effects = [
        Parasitic(
            one.name, one.what, one.element, float(at.ripple), float(at.spike),
            float(now.ripple - at.ripple), float(now.spike - at.spike), float(at.fundamental),
        )
        for one, at in without
    ]  # fmt: skip
    wide = trial.label == "full"
    return tuple(sorted(effects, key=lambda one: (one.spike if wide else one.ripple, one.name, one.what)))


def _cures(
    trial: Trial,
    listed: tuple[Candidate, ...],
    bought: Mapping[str, Part],
    pairs: int,
    judgement: Judgement | None,
    clash: Clash | None,
    tell: Progress,
) -> dict[str, Any]:
    """Changes tried at the load: singly, then in pairs; or the best of them judged."""
    singles = try_all(trial, listed, progress=lambda share: tell(0.1 + 0.2 * share, "changes that may help"))
    if judgement is not None:
        known = {one.name: one for one in listed}
        quiet = [] if judgement.good else _against_emission(judgement, listed, bought)
        changes: list[tuple[Candidate, ...]] = [(one,) for one in quiet]
        names = {one.name for one in quiet}
        changes += [
            tuple(known[name] for name in one.names) for one in singles if not one.refused and one.names[0] not in names
        ]
        changes += [
            (one,) for one in cures(trial.design, bought, clash) if one.name not in known and one.name not in names
        ]
        judged = (
            ()
            if judgement.good
            else proposals(
                judgement, changes, progress=lambda share: tell(0.3 + 0.7 * share, "the best changes judged")
            )
        )
        return {"mitigations": singles, "judgement": judgement, "proposals": judged}
    both = try_pairs(
        trial, listed, singles, pairs, progress=lambda share: tell(0.3 + 0.7 * share, "two changes together")
    )
    return {"mitigations": singles, "pairs": both}
