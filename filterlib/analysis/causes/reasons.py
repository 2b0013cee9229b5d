"""Why here and not there: what is left at a load by source, by parasitic, by frequency; what would fix it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from filterlib.analysis.causes.by_frequency import NEVER, BandReason, Deviation, bands_of, deviation, resonances_of
from filterlib.analysis.causes.by_source import Source, sources, split
from filterlib.analysis.causes.candidates import Candidate, candidates
from filterlib.analysis.causes.mitigations import (
    Baseline,
    Mitigation,
    Trial,
    baseline,
    check,
    ranked,
    try_all,
    try_pairs,
)
from filterlib.analysis.causes.parasitics import Ideal, Parasitic, all_ideal, ideals
from filterlib.analysis.causes.resonances import Resonance
from filterlib.analysis.ripple.at_load import Seen, narrow_and_wide, seen
from filterlib.analysis.ripple.nominal import nominal
from filterlib.analysis.ripple.spectra import spectra
from filterlib.errors import QuantityError
from filterlib.parts.base import Part
from filterlib.parts.tables import standard_tables
from filterlib.system.design import Design
from filterlib.system.state import State

PAIRS = 6  # of the best single changes, that are tried two at a time
CHECKED = 3  # of the best changes, that are tried over the band
Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class ReasonsResult:
    """Why this much is left at one load, at one operating point.

    ``figure``: "20MHz" or "full", the one that decides, and its ``limit`` [V], nan where none is stated. [V] peak to peak: ``ripple`` (20 MHz) and ``spike`` (full
    bandwidth) at the load, ``ripple_before``, ``spike_before`` without the filter, ``ripple_ideal``, ``spike_ideal`` with
    every parasitic gone; ``fundamental``, ``fundamental_ideal`` [V]: amplitude at the ripple's frequency alone, so and so.
    ``sources``: the largest first; their waveforms add up to ``waveform`` (t,) [V] (one switching
    period at ``times`` (t,) [s], full bandwidth), and their ``power`` to the whole's. ``parasitics``: that which costs
    most first. ``bands``; ``deviation``; ``resonances`` of the response from the converter's emf to the load. ``mitigations``:
    single changes, best first, refused last; ``pairs`` of the best. ``stable``: False where there is no steady state,
    and so nothing at all.
    """

    point: str
    load: str
    figure: str = "20MHz"
    limit: float = np.nan
    ripple: float = np.nan
    spike: float = np.nan
    ripple_before: float = np.nan
    spike_before: float = np.nan
    ripple_ideal: float = np.nan
    spike_ideal: float = np.nan
    fundamental: float = np.nan
    fundamental_ideal: float = np.nan
    times: np.ndarray = field(default_factory=lambda: np.zeros(0))
    waveform: np.ndarray = field(default_factory=lambda: np.zeros(0))
    sources: tuple[Source, ...] = ()
    parasitics: tuple[Parasitic, ...] = ()
    bands: tuple[BandReason, ...] = ()
    deviation: Deviation = NEVER
    resonances: tuple[Resonance, ...] = ()
    mitigations: tuple[Mitigation, ...] = ()
    pairs: tuple[Mitigation, ...] = ()
    stable: bool = True

    @property
    def now(self) -> float:
        """The figure that decides, as it is [V]."""
        return self.ripple if self.figure == "20MHz" else self.spike


def reasons(
    design: Design,
    load: str,
    *,
    point: State | str | None = None,
    parts: Mapping[str, Part] | None = None,
    pairs: int = PAIRS,
    progress: Progress | None = None,
) -> ReasonsResult:
    """Why this much is left at a load, and what would change it.

    Parameters
    ----------
    design : Design
    load : str
        Its name.
    point : State or str, optional
        The operating point, or its name; the first one where None.
    parts : mapping, optional
        Parts that may be bought, by name; those of data/parts where None.
    pairs : int
        So many of the best single changes are tried two at a time; 0 leaves pairs out.
    progress : callable, optional
        Told the share done and what is being done.

    Raises
    ------
    FilterlibError
        For a load or point that is not there, for a negative ``pairs``, and as `Design.state` and `drive`.

    Examples
    --------
    >>> from filterlib.parts.tables import data_folder
    >>> from filterlib.system.files import load_design
    >>> design = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> found = reasons(design, "modem", parts={}, pairs=0)
    >>> found.sources[0].name, found.ripple < found.ripple_before
    ('ripple_c', True)
    """
    if isinstance(pairs, bool) or not isinstance(pairs, int) or pairs < 0:
        raise QuantityError("a whole number of changes, 0 or more", name="pairs", value=pairs)
    state, tell = design.state(point), progress or (lambda share, text: None)
    design.named_load(load)
    if not nominal(design, load, state=state).stable:
        return ReasonsResult(state.point, load, stable=False)
    now = seen(design, state, load)
    trial = Trial(design, state, load, deciding(design, load, now), now)
    tell(0.0, "parasitics")
    found = _causes(trial)
    bought = _bought() if parts is None else parts
    found |= _cures(trial, candidates(design, load, bought), pairs, tell)
    return ReasonsResult(state.point, load, trial.label, _limits(design, load).get(trial.label, np.nan), **found)


def _bought() -> dict[str, Part]:
    return {name: part for table in standard_tables() for name, part in table.items()}


def deciding(design: Design, load: str, now: Seen) -> str:
    """The figure that decides at a load: the one that stands worst against its limit; the ripple where none has one."""
    figures, limits = {"20MHz": float(now.ripple), "full": float(now.spike)}, _limits(design, load)
    return max(limits, key=lambda label: figures[label] / limits[label], default="20MHz")


def _limits(design: Design, load: str) -> dict[str, float]:
    """The strictest limit of each figure at a load [V], of those that have one."""
    asked = [one for one in design.requirements if one.kind in ("ripple", "spike") and one.load == load]
    found = {label: [one.limit for one in asked if one.label == label] for label in ("20MHz", "full")}
    return {label: min(limits) for label, limits in found.items() if limits}


def _causes(trial: Trial) -> dict[str, Any]:
    """What is left, by source, by parasitic and by frequency."""
    design, state, load, now = trial.design, trial.state, trial.load, trial.now
    narrow, wide = narrow_and_wide(design)
    before = spectra(
        design, state, filtered=False, outputs={load: design.named_load(load).port}, forces=now.spectra.source_spectra
    )
    apart = split(now.spectra, design)
    without: list[tuple[Ideal, Seen]] = [(one, trial.see(one.design)) for one in ideals(design)]
    formula = trial.see(all_ideal(design))
    circuit = design.build(state)
    waveform = now.spectra.waveform(load, wide)
    return {
        "ripple": float(now.ripple), "spike": float(now.spike),
        "ripple_before": float(before.peak_to_peak(load, narrow)), "spike_before": float(before.peak_to_peak(load, wide)),
        "ripple_ideal": float(formula.ripple), "spike_ideal": float(formula.spike),
        "fundamental": float(now.fundamental), "fundamental_ideal": float(formula.fundamental),
        "times": np.arange(len(waveform)) * design.converter.period / len(waveform), "waveform": waveform,
        "sources": sources(apart, load, narrow, wide),
        "parasitics": _listed(trial, without),
        "bands": bands_of(apart, load, without, formula),
        "deviation": deviation(circuit, now, formula, without),
        "resonances": resonances_of(circuit, now.response),
    }  # fmt: skip


def _listed(trial: Trial, without: Iterable[tuple[Ideal, Seen]]) -> tuple[Parasitic, ...]:
    """The parasitics, by how much the figure that decides falls without each."""
    now = trial.now
    found = [
        Parasitic(
            one.name, one.what, one.element, float(at.ripple), float(at.spike),
            float(now.ripple - at.ripple), float(now.spike - at.spike), float(at.fundamental),
        )
        for one, at in without
    ]  # fmt: skip
    wide = trial.label == "full"
    return tuple(sorted(found, key=lambda one: (one.spike if wide else one.ripple, one.name, one.what)))


def _cures(trial: Trial, found: tuple[Candidate, ...], pairs: int, tell: Progress) -> dict[str, Any]:
    """Changes tried: singly, in pairs, and the best of both over the band."""
    singles = try_all(trial, found, progress=lambda share: tell(0.1 + 0.4 * share, "changes that may help"))
    both = try_pairs(
        trial, found, singles, pairs, progress=lambda share: tell(0.5 + 0.3 * share, "two changes together")
    )
    was = baseline(trial)
    singles = _checked(trial, singles, found, was)
    tell(0.9, "the best changes over the uncertainty")
    return {"mitigations": singles, "pairs": _checked(trial, both, found, was, most=1)}


def _checked(
    trial: Trial,
    tried: tuple[Mitigation, ...],
    found: tuple[Candidate, ...],
    was: Baseline,
    *,
    most: int = CHECKED,
) -> tuple[Mitigation, ...]:
    """The best few tried over the band; one that turns out unstable is refused, and the next takes its place."""
    done: dict[tuple[str, ...], Mitigation] = {}
    for one in tried:
        if one.refused or sum(not held.refused for held in done.values()) >= most:
            break
        done[one.names] = check(trial, one, found, was)
    return ranked([done.get(one.names, one) for one in tried], trial.label)
