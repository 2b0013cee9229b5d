"""From what was measured at the terminals to the electromotive forces inside, harmonic by harmonic, one scale each."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from copy import copy
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from filterlib.errors import FilterlibError
from filterlib.network.extremes import Harmonics, Real, peak_to_peak, rough_peak_to_peak
from filterlib.parts.values import Value
from filterlib.system.inside.converter import Arrangement, Converter
from filterlib.system.inside.input import on_input
from filterlib.system.inside.recorded import Recorded
from filterlib.system.sources.contradictions import contradiction
from filterlib.system.sources.measuring import Probe
from filterlib.system.sources.scales import FEW, Flags, scaled
from filterlib.system.sources.source_shapes import (
    SourceSpectra,
    node_voltage,
    samples,
    spike_shape,
    switching_current,
    with_dc,
)

TOP = 100e6  # highest harmonic [Hz] where no ring asks for more
RING_TOP = 4.0  # with a ring: this multiple of its frequency


class ScaleError(FilterlibError):
    """Stated figures that contradict each other."""


def harmonic_count(converter: Converter) -> int:
    """How many harmonics bandwidths and ring ask for, the ring's at the upper end of its range: so many designs have as many as one."""
    rings = [converter.spike.ring_frequency] if converter.spike is not None else []
    if converter.common_mode is not None and converter.common_mode.ring is not None:
        rings.append(converter.common_mode.ring.frequency)
    top = max([TOP, *(RING_TOP * one.high for one in rings)])
    return int(np.ceil(top / converter.switching_frequency))


def source_spectra(converter: Converter, load_current: float, *, input_voltage: float | None = None) -> SourceSpectra:
    """The sources that make the stated figures read exactly as stated, in the stated arrangement.

    Parameters
    ----------
    converter : Converter
        Its values may be arrays (designs, 1).
    load_current : float
        Drawn while measuring, where the file does not say [A].
    input_voltage : float, optional
        Another input voltage than the converter's own, at which the figures were measured [V]: see `on_input`.

    Raises
    ------
    ScaleError
        Where ripple and spike contradict each other (one design; of several, see `SourceSpectra.feasible`).

    Notes
    -----
    Those of the last few converters are kept, single ones and up to `FEW` at once: they stay while filter and load move.
    Of many, converters of the same values have theirs made once.
    """
    columns: list[Real] = []
    asked = _Asked(_content(converter, columns), load_current, input_voltage, converter)
    designs = max((len(one) for one in columns), default=1)
    if designs <= FEW:
        return _kept(asked)
    values = np.hstack([one for one in columns if one.shape == (designs, 1)])
    _, first, each = np.unique(values, axis=0, return_index=True, return_inverse=True)
    if not FEW < len(first) < designs:
        return _spectra_of(asked)
    return _spectra_of(replace(asked, converter=cast(Converter, _some(converter, first)))).of(each.ravel())


@dataclass(frozen=True)
class _Asked:
    """What source spectra depend on: a converter by its ``content``."""

    content: Hashable
    load_current: float
    input_voltage: float | None
    converter: Converter = field(compare=False)


def _content(one: object, columns: list[Real]) -> Hashable:
    """What a converter and the models in it hold, arrays by their bytes; those of many designs are added to ``columns``."""
    if isinstance(one, np.ndarray):
        columns += [one] if one.ndim > 1 else []
        return one.shape, one.tobytes()
    try:
        hash(one)
    except TypeError:  # there is an array in it
        return type(one), *(_content(part, columns) for part in _parts(one).values())
    return one


def _some(one: object, rows: NDArray[np.intp]) -> object:
    """A converter, or what is in it, with the values of some of its designs."""
    if isinstance(one, np.ndarray):
        return one[rows] if one.ndim > 1 else one
    try:
        hash(one)
    except TypeError:
        new = {name: _some(part, rows) for name, part in _parts(one).items()}
        if isinstance(one, tuple):
            return tuple(new.values())
        other = copy(one)  # as it is: nothing is checked again
        vars(other).update(new)
        return other
    return one


def _parts(one: object) -> Mapping[str, object]:
    return {str(number): part for number, part in enumerate(one)} if isinstance(one, tuple) else vars(one)


def _spectra_of(asked: _Asked) -> SourceSpectra:
    return _source_spectra(asked.converter, asked.load_current, asked.input_voltage)


_kept = lru_cache(maxsize=16)(_spectra_of)


def _source_spectra(converter: Converter, load_current: float, input_voltage: float | None) -> SourceSpectra:
    k = np.arange(1, harmonic_count(converter) + 1)
    frequencies = np.asarray(k * converter.switching_frequency, float)
    inner = converter.inner_impedance(frequencies)
    ripple, spike = _shapes(converter, k, inner)
    behind = converter.terminal_impedance(frequencies, inner)
    probe = Probe(converter, converter.ripple, frequencies, load_current, behind)
    spike_probe = None
    if converter.spike is not None:
        spike_probe = Probe(converter, converter.spike, frequencies, load_current, behind, probe)
    recorded, node = converter.ripple.recording, node_voltage(converter, k)
    if recorded is not None:
        ripple = _recorded_emf(recorded, probe, ripple, probe.conversion * node)
        spike = np.where(probe.within, 0, spike)
    probes, ring = [one for one in (probe, spike_probe) if one is not None], _ring(converter, probe, ripple)
    many = np.broadcast_shapes(ripple.shape, spike.shape, node.shape, probe.transfer.shape)[:-1] > (FEW,)
    rough = many and recorded is None and spike_probe is not None and probe.converts
    shown = [one.shown(ripple + ring, spike, node, rough=rough) for one in probes]
    a, b, feasible, needed = _scales(converter, shown, rough=rough)
    if input_voltage is not None and converter.input_voltage is not None:
        converter, larger = on_input(converter, input_voltage)
        if recorded is None:
            ripple, spike = _shapes(converter, k, inner)
        a, node = a * larger, node_voltage(converter, k)
    factors = 1 / np.abs(np.atleast_2d(probe.divider)[:, probe.within])
    worst = np.argmax(factors.max(axis=0))
    return SourceSpectra(
        frequencies=np.concatenate([[0.0], frequencies]),
        ripple=with_dc(a * ripple),
        spike=with_dc(b * spike + a * ring),
        common_mode=with_dc(node),
        feasible=feasible,
        largest_factor=float(np.max(factors)),
        largest_factor_frequency=float(frequencies[probe.within][worst]),
        current=np.nan if recorded is not None else a,
        needed=needed,
    )


def _shapes(converter: Converter, k: NDArray[np.int_], inner: Harmonics) -> tuple[Harmonics, Harmonics]:
    """Harmonics of ripple and spike before they are scaled; no spike where none is stated."""
    ripple = switching_current(converter, k) * converter.transfer_impedance(k * converter.switching_frequency, inner)
    return ripple, np.zeros_like(ripple) if converter.spike is None else spike_shape(converter, len(k))


def _ring(converter: Converter, probe: Probe, ripple: Harmonics) -> Harmonics | float:
    """The ring that a reading without a spike beside it holds, as large beside an unscaled ripple as its share is; else 0."""
    share = converter.spike_share.value
    if converter.spike is not None or not np.any(share):
        return 0.0
    ring = spike_shape(converter, ripple.shape[-1])
    size, ring_size = (rough_peak_to_peak(probe.transfer * one) for one in (ripple, ring))
    return np.asarray(share / (1 - share) * size / ring_size * ring)


def _recorded_emf(recorded: Recorded, probe: Probe, shape: Harmonics, converted: Harmonics) -> Harmonics:
    """That which reads as recorded together with what is ``converted``, where there is something above the noise.

    Its edges are where those of ``shape`` are: a recording's period begins anywhere.
    """
    k = np.arange(1, shape.shape[-1] + 1)
    harmonics = recorded.coefficients(len(k)) * probe.within
    likeness = samples(np.conj(harmonics) * probe.transfer * shape)
    late = np.argmax(likeness, axis=-1)[..., None] / likeness.shape[-1]
    read = harmonics * np.exp(-2j * np.pi * k * late)
    return np.asarray(np.where(read == 0, 0, read - converted) / probe.transfer)


def reading(converter: Converter, arrangement: Arrangement, sources: SourceSpectra, load_current: float) -> Real:
    """What an arrangement shows of all sources: peak to peak [V], one number or (designs, 1).

    ``load_current`` [A]: drawn meanwhile, where the arrangement states none. NaN where the figures contradict each other.
    """
    probe = Probe(converter, arrangement, sources.frequencies[1:], load_current)
    return peak_to_peak(
        probe.transfer * (sources.ripple + sources.spike)[..., 1:] + probe.conversion * sources.common_mode[..., 1:]
    )


def _scales(
    converter: Converter, shown: list[list[Harmonics]], *, rough: bool
) -> tuple[Value, Value, bool | Flags, tuple[Value, Value]]:
    """Factors of ripple and spike with which the stated figures are read, where there are such, and the least that could be.

    ``shown``: by each arrangement, the ripple's and the spike's, harmonics of ripple and spike before they are scaled, and
    of what is converted; ``rough``: see `scaled`. A recorded ripple stays as it is. Raises ScaleError where there are none for a single design.
    """
    recorded, (ripple, *_) = converter.ripple.recording is not None, shown[0]
    if recorded and converter.spike is None:
        return 1.0, 0.0, True, (0.0, 0.0)
    if converter.spike is None and len(shown[0]) == 2:
        return converter.ripple.peak_to_peak / peak_to_peak(ripple), 0.0, True, (0.0, 0.0)
    shape = np.broadcast_shapes(
        *(np.shape(one[..., :1]) for waves in shown for one in waves),
        *(np.shape(one.peak_to_peak) for one in (converter.ripple, converter.spike) if one is not None),
    )
    waves = [
        [np.broadcast_to(one, (*shape[:-1], one.shape[-1])).reshape(-1, one.shape[-1]) for one in some]
        for some in shown
    ]
    a, b, feasible, *needed = scaled(
        waves, np.ravel(converter.ripple.peak_to_peak), _spike_figure(converter), recorded=recorded, rough=rough
    )
    if len(shape) == 1 and not feasible[0]:
        raise ScaleError(contradiction(converter, *(float(one[0]) for one in needed))[1])
    return *(_by_design(one, shape) for one in (a, b, feasible)), (needed[0], needed[1])


def _by_design(values: np.ndarray, shape: tuple[int, ...]) -> Any:
    """Values (designs,) as one number, or (designs, 1)."""
    return values[0] if len(shape) == 1 else values[:, None]


def _spike_figure(converter: Converter) -> Real | None:
    return None if converter.spike is None else np.ravel(converter.spike.peak_to_peak)
