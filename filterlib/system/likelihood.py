"""How well a converter, as it may be inside, agrees with what was measured of it beside its peak to peak."""

from __future__ import annotations

from typing import Any

import numpy as np

from filterlib.network.extremes import Harmonics, Real
from filterlib.system.converter import Converter
from filterlib.system.measuring import Probe
from filterlib.system.source_spectra import SourceSpectra, source_spectra

SPREAD = 0.1  # of the logarithm, of a reading about what the model reads, and of a pulse about its average: no source
SWING = 0.1, 1.2
"""Peak to peak of an output inductor's current over the load's: 10 to 60 % are designed for (common practice, no source), light
load and small inductors reach further."""
TIED = 0.9  # share of converters whose current follows from the load's; a second filter inside hides it: no source
DECADES = 6.0  # over which the current of the others may lie


def log_likelihood(converter: Converter, load_current: float, sources: SourceSpectra | None = None) -> Real:
    """Logarithm of how likely its rms, its line at the switching frequency and its load's current are, if it is so inside.

    Parameters
    ----------
    converter : Converter
        Its values may be arrays (designs, 1).
    load_current : float
        Of all loads at full draw [A]: of use to those who pass it on; what was drawn while measuring counts only where
        the ripple states it.
    sources : SourceSpectra, optional
        Its source spectra, where they are known already.

    Returns
    -------
    array (designs,)
        Zeros where none of it is stated; minus infinity where the stated figures contradict each other.

    Notes
    -----
    Normal in the logarithm, `SPREAD` wide. A pulse output's current is flat at I/(1 - duty), as the output capacitor carries
    no direct current; an output inductor's swings by `SWING` of the load's, or by the stated ``current_swing``. Either holds
    for `TIED` of all converters; of the others nothing is known over `DECADES`.

    Examples
    --------
    >>> one = Converter(name="x", output_voltage=28, switching_frequency=180e3, shape="pulse", duty=0.5,
    ...                 output_capacitance=22e-6, ripple={"peak_to_peak": 0.1, "load_current": 2.0, "fundamental": 0.03})
    >>> likely = log_likelihood(one.model_copy(update={"output_esr": one.output_esr.at(np.array([[6e-3], [30e-3]]))}), 2.0)
    >>> likely.shape, bool(likely[0] != likely[1])
    ((2,), True)
    """
    ripple = converter.ripple
    if not says_more(converter):
        return np.zeros(_designs(converter))
    known = source_spectra(converter, load_current) if sources is None else sources
    total = _tie(converter, known.current) if _tied(converter) else np.zeros(1)
    if ripple.rms or ripple.fundamental:
        shown = _shown(converter, load_current, known)
        sizes = np.sqrt(2 * np.sum(np.abs(shown) ** 2, axis=-1)), 2 * np.abs(shown[..., 0])
        for stated, size in zip((ripple.rms, ripple.fundamental), sizes, strict=True):
            total = total + (0.0 if stated is None else _normal(np.log(size / stated)))
    total = np.broadcast_to(np.ravel(total), np.broadcast_shapes(np.shape(np.ravel(total)), (_designs(converter),)))
    return np.where(np.isfinite(total), total, -np.inf)


def says_more(converter: Converter) -> bool:
    """Whether anything was measured that makes one inside likelier than another: rms, one line, or the load's current."""
    ripple = converter.ripple
    return ripple.recording is None and bool(_tied(converter) or ripple.rms or ripple.fundamental)


def _tied(converter: Converter) -> bool:
    drawn = converter.ripple.load_current
    return converter.tied_to_load and drawn is not None and drawn > 0


def _tie(converter: Converter, current: Any) -> Real:
    """Of the switching current's height [A], pulse or swing."""
    drawn = converter.ripple.load_current
    assert drawn is not None  # or there is no tie
    share = np.log(np.ravel(current) / drawn)
    if converter.shape == "pulse":
        likely = np.exp(_normal(share + np.ravel(np.log(1 - converter.duty.value)))) / (SPREAD * np.sqrt(2 * np.pi))
    elif converter.ripple.current_swing is not None:
        likely = np.exp(_normal(share - np.log(converter.ripple.current_swing))) / (SPREAD * np.sqrt(2 * np.pi))
    else:
        low, high = np.log(SWING)
        likely = np.where((share > low) & (share < high), 1.0, 0.0) / (high - low)
    loose = np.where(np.isfinite(share), (1 - TIED) / (DECADES * np.log(10)), 0.0)
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(TIED * likely + loose))


def _shown(converter: Converter, load_current: float, sources: SourceSpectra) -> Harmonics:
    """Harmonics that the ripple's arrangement shows of all sources [V]."""
    probe = Probe(converter, converter.ripple, sources.frequencies[1:], load_current)
    own = probe.transfer * (sources.ripple + sources.spike)[..., 1:]
    return np.atleast_2d(own + probe.conversion * sources.common_mode[..., 1:])


def _normal(off: Real) -> Real:
    return np.asarray(-0.5 * (off / SPREAD) ** 2)


def _designs(converter: Converter) -> int:
    """How many designs its values hold."""
    sections = (converter, converter.spike, converter.common_mode)
    values = (getattr(one, name) for one in sections if one is not None for name in type(one).model_fields)
    return max(np.size(value.value) for value in values if hasattr(value, "value"))
