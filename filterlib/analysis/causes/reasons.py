"""Why here and not there: what is left at a load by source, by parasitic, by frequency; what would fix it, judged as the design is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from filterlib.analysis.causes.by_frequency import bands_of, deviation, resonances_of
from filterlib.analysis.causes.by_source import sources, split
from filterlib.analysis.causes.candidates import Candidate, applied, candidates
from filterlib.analysis.causes.causes_result import (
    Parasitic,
)
from filterlib.analysis.causes.emission_changes import emission_changes, lowering
from filterlib.analysis.causes.further_changes import further_changes
from filterlib.analysis.causes.mitigations import Trial, try_all, try_pairs
from filterlib.analysis.causes.parasitics import Ideal, all_ideal, ideals
from filterlib.analysis.causes.worst import causes_of, clash_of, one_line, point_of, worst_failing
from filterlib.analysis.judged import Clash, Judgement, Proposal, deciding_figure, failings
from filterlib.analysis.judgement import Change, judge, judge_wholly, proposal_of, rank
from filterlib.analysis.review_result import ReasonsResult
from filterlib.analysis.ripple.at_load import Seen, seen
from filterlib.analysis.ripple.drawn import Drawn
from filterlib.analysis.ripple.ripple_result import narrow_and_wide
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.stability.stability import stability
from filterlib.errors import FilterlibError, QuantityError
from filterlib.parts.base import Part
from filterlib.parts.tables import standard_tables
from filterlib.system.solution import Solution, solve_all

PAIRS = 6  # of the best single changes, that are tried two at a time
Progress = Callable[[float, str], None]
LOOKED = 5  # of the best single changes get a first look
AGAINST = 3  # changes against each kind of failing that is no ripple
OF_A_KIND = 2  # of them, at most
JOINED = 3  # that are tried together with the best one, and then with the best two
WHOLE = 2  # of those that a first look does not refute are judged in full, at most


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
        listed = further_changes(design, bought, why.get("clash"))
        judged = () if judgement is None else proposals(judgement, [(one,) for one in listed])
        return ReasonsResult(solution.point, load, judgement=judgement, proposals=judged, stable=False, **why)
    now = seen(solution, load)
    label, limit = deciding_figure(design, load, {"20MHz": float(now.ripple), "full": float(now.spike)})
    trial = Trial(solution, load, label, now)
    tell(0.0, "parasitics")
    answers = _causes(trial)
    answers |= _worst(judgement)
    answers |= _changes_for(
        trial, candidates(design, load, bought), bought, pairs, judgement, answers.get("clash"), tell
    )
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
    return lowering(line, [*listed, *emission_changes(judgement.design, line.test.side, bought)])


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


def _changes_for(
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
            (one,)
            for one in further_changes(trial.design, bought, clash)
            if one.name not in known and one.name not in names
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


def proposals(
    was: Judgement, changes: Sequence[Change], *, progress: Callable[[float], None] | None = None
) -> tuple[Proposal, ...]:
    """The best changes judged, those with which everything is met first, then those that help, last those that break something.

    Parameters: ``was``: the judgement of the design as it is; single ``changes`` in the order in which they are worth a try;
    ``progress``: called with the share done.
    The best few get a first look (`judge` with ``like``), then the best of them together with others. What that does not
    refute is judged in full, one after another, until everything is met over the whole range; where none comes to that, the
    best that helps.
    """
    tell = progress or (lambda share: None)
    looked = [(one, proposal) for one in _picked(was, changes) if (proposal := _look(was, one))]
    tell(0.3)
    for number in range(2):
        looked += _joined(was, looked)
        tell(0.5 + 0.1 * number)
    ordered = sorted((one for _, one in looked), key=rank)
    for number, one in enumerate([one for one in ordered if not one.open][:WHOLE]):
        ordered[ordered.index(one)] = judged = _in_full(was, one)
        tell(0.8 + 0.1 * number)
        if judged.robust:
            break
    drawn = Drawn()
    for _ in range(WHOLE):
        best = min(ordered, key=rank, default=None)
        if (
            best is not None and best.better and not best.whole
        ):  # it is advised: all that it leaves open has to be known
            judgement = judge_wholly(was, solve_all(best.design), drawn)
            ordered[ordered.index(best)] = proposal_of(was, best.names, best.parts, judgement, whole=True)
    return tuple(sorted((one for one in ordered if one.whole or one.open), key=rank))


def _picked(was: Judgement, changes: Sequence[Change]) -> list[Change]:
    """Changes that narrow what a requirement depends on, or that are against what fails; then the first few others, by kind."""
    asked = {failing.verdict.depends_on for failing in failings(was) if failing.verdict is not None} - {""}
    narrow = [one for one in changes if one[0].narrows in asked]
    for what in dict.fromkeys(
        failing.kind for failing in sorted(failings(was), key=lambda one: (-one.sure, -one.excess))
    ):
        narrow += [one for one in changes if what in one[0].against and one not in narrow][:AGAINST]
    others = [one for one in changes if one not in narrow and not one[0].against]
    kinds = [one[0].kind for one in others]
    return [*narrow, *[one for n, one in enumerate(others) if kinds[:n].count(kinds[n]) < OF_A_KIND][:LOOKED]]


def _joined(was: Judgement, looked: Sequence[tuple[Change, Proposal]]) -> list[tuple[Change, Proposal]]:
    """The best change together with the next single ones, of other groups; none where it is good enough as it is."""
    best = sorted((pair for pair in looked if not pair[1].broken), key=lambda pair: rank(pair[1]))
    if not best or not best[0][1].open:
        return []
    first, known = best[0][0], {frozenset(names) for _, one in looked for names in [one.names]}
    groups = {one.group for one in first}
    others = [one for one, _ in best if len(one) == 1 and one[0].group not in groups]
    left = {failing.what for failing in best[0][1].open}
    seen = {one: {failing.what for failing in proposal.open} for one, proposal in best}
    others.sort(key=lambda one: len(left & seen[one]))  # those first that meet what the best one does not
    together: list[Change] = [(*first, *one) for one in others[:JOINED]]
    new = [one for one in together if frozenset(single.name for single in one) not in known]
    return [(one, proposal) for one in new if (proposal := _look(was, one))]


def _look(was: Judgement, change: Change) -> Proposal | None:
    """A first look at a change; None where it cannot be."""
    try:
        solutions = solve_all(applied(was.design, change))
        judgement = judge(solutions, like=was)
    except FilterlibError:
        return None
    return proposal_of(was, tuple(one.name for one in change), sum(one.parts for one in change), judgement, whole=False)


def _in_full(was: Judgement, one: Proposal) -> Proposal:
    """The judgement of what a first look did not refute: a closer look, and what that does not refute either, in full."""
    solutions = solve_all(one.design)
    look = proposal_of(was, one.names, one.parts, judge(solutions, like=was, depth="closer look"), whole=False)
    return look if look.open else proposal_of(was, one.names, one.parts, judge(solutions), whole=True)
