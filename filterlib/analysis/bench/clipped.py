"""Measuring closes a loop: what a scope shows whose earthed clip is on a return, beside what is there without it."""

from __future__ import annotations

import numpy as np

from filterlib.analysis.bench.bench_result import ClipFigures, ClippedResult
from filterlib.analysis.linear.two_lines import modal_voltages
from filterlib.analysis.ripple.ripple_result import Spectra, narrow_and_wide
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.stability.stability import stability
from filterlib.network.circuit import Current, Output
from filterlib.network.extremes import peak_to_peak
from filterlib.system.design import Design
from filterlib.system.inside.ways import CHASSIS
from filterlib.system.line.clip import MEASURED, OWN_CLIP, Clip
from filterlib.system.ranges.changes import with_clip
from filterlib.system.solution import solve
from filterlib.system.state import State

_THERE, _PLUS, _MINUS, _CURRENT = "there", "plus", "minus", "current"


def clipped(design: Design, place: str, *, point: str | None = None, clip: Clip | None = None) -> ClippedResult:
    """What an earthed scope reads at a place, beside what is there without it.

    Parameters
    ----------
    design : Design
        A clip that it states is taken off for the comparison.
    place : str
        "terminals", or the name of a load.
    point : str, optional
        Name of the operating point; the first where None.
    clip : Clip, optional
        Its lead and earth; those of the design's own clip where None, or defaults.

    Returns
    -------
    ClippedResult

    Raises
    ------
    FilterlibError
        Where there is no such place or point, no chassis (`InputError`), or the stated figures contradict each other.

    Examples
    --------
    >>> from filterlib.parts.tables import data_folder
    >>> from filterlib import load_design
    >>> result = clipped(load_design(data_folder() / "designs" / "tide-gauge-brick.toml"), "logger")
    >>> result.figures["full"].shown > result.figures["full"].seen
    True
    """
    on = with_clip(design, place, clip or design.clip)
    off = design.replace(clip=None)
    assert on.clip is not None
    solutions = solve(off, point), solve(on, point)
    for one in solutions:
        if not stability(one).stable:
            return ClippedResult(place, one.point, on.clip, stable=False)
    without, with_it = (spectra(one, outputs=_outputs(one.design, on.clip)) for one in solutions)
    return _result(place, solutions[0].state, on, without, with_it)


def _outputs(design: Design, clip: Clip) -> dict[str, Output]:
    """The place, each of its lines to the chassis where there is one, and the scope's readings where it is clipped on."""
    plus, minus = clip.port(design.loads)
    outputs: dict[str, Output] = {_THERE: (plus, minus)}
    if design.chassis:
        outputs |= {_PLUS: (plus, CHASSIS), _MINUS: (minus, CHASSIS)}
    return outputs if design.clip is None else outputs | clip.readings(design.loads) | {_CURRENT: Current("clip.lead")}


def _result(place: str, state: State, on: Design, without: Spectra, with_it: Spectra) -> ClippedResult:
    assert on.clip is not None
    figures: dict[str, ClipFigures] = {}
    waveforms: dict[tuple[str, str], np.ndarray] = {}
    changed = with_it.whole(MEASURED) - without.whole(_THERE)
    for band in narrow_and_wide(on):
        waves = {
            "seen": without.waveform(_THERE, band), "there": with_it.waveform(_THERE, band),
            "shown": with_it.waveform(MEASURED, band), "own_clip": with_it.waveform(OWN_CLIP, band),
        }  # fmt: skip
        waves["difference"] = waves["shown"] - waves["seen"]
        waveforms |= {(what, band.label): wave for what, wave in waves.items()}
        figures[band.label] = ClipFigures(
            seen=float(without.peak_to_peak(_THERE, band)),
            there=float(with_it.peak_to_peak(_THERE, band)),
            shown=float(with_it.peak_to_peak(MEASURED, band)),
            own_clip=float(with_it.peak_to_peak(OWN_CLIP, band)),
            difference=float(peak_to_peak(changed * band.response(with_it.frequencies))),
        )
    through = with_it.whole(_CURRENT)
    count = len(waveforms["seen", "full"])
    return ClippedResult(
        place, state.point, on.clip, figures, np.arange(count) / (with_it.frequencies[0] * count), waveforms,
        _by_mode("without", without) | _by_mode("with", with_it),
        float(peak_to_peak(through)), _rms(through),
    )  # fmt: skip


def _by_mode(arrangement: str, spectra: Spectra) -> dict[tuple[str, str], float]:
    """Root mean square [V] of both modes at the place, of the converter's sources."""
    differential, common = spectra.whole(_THERE), np.array([np.nan])
    if _PLUS in spectra.places:
        differential, common = modal_voltages(spectra.whole(_PLUS), spectra.whole(_MINUS))
    return {(arrangement, "differential"): _rms(differential), (arrangement, "common"): _rms(common)}


def _rms(harmonics: np.ndarray) -> float:
    return float(np.sqrt(2 * np.sum(np.abs(harmonics) ** 2)))
