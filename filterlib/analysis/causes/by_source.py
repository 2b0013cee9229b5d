"""What each source makes at a load, the converter's ripple split into what its capacitor's C, ESR and ESL make of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Unit, Volts
from filterlib.analysis.ripple.spectra import Band, Spectra
from filterlib.system.design import Design


@dataclass(frozen=True)
class Source:
    """What one source makes at a load.

    Peak to peak, in 20 MHz and in full bandwidth: ``ripple_alone``, ``spike_alone`` with every other source silent;
    ``ripple_falls``, ``spike_falls``: by how much the whole falls without it, negative where it cancels others.
    ``coefficients`` (h,) complex c_1 .. c_h; ``power`` (h,): 2 Re(c whole*), which over all sources adds up to the whole's;
    ``power_alone`` (h,): 2 |c|². ``waveform`` (t,): one switching period in full bandwidth; of a load's own ripple, which
    has another period, None.
    """

    name: str
    ripple_alone: Annotated[float, Unit("V", "alone, 20 MHz", "*_pp")]
    ripple_falls: Annotated[float, Unit("V", "the total is lower without it by", "*_pp")]
    spike_alone: Annotated[float, Unit("V", "alone, full bandwidth", "*_pp")]
    spike_falls: Annotated[float, Unit("V", "the total is lower without it by", "*_pp")]
    frequencies: Annotated[np.ndarray, Unit("Hz", key=None)]
    coefficients: Annotated[np.ndarray, Unit("V", key=None)]
    power: Annotated[np.ndarray, Unit("V²", key=None)]
    power_alone: Annotated[np.ndarray, Unit("V²", key=None)]
    waveform: Annotated[np.ndarray | None, Unit("V", key=None)]

    @property
    def rms(self) -> Volts[float]:
        """Of what it makes alone, in full bandwidth [V]."""
        return float(np.sqrt(np.sum(self.power_alone)))


def split(spectra: Spectra, design: Design) -> Spectra:
    """The same with "ripple" as "ripple_c", "ripple_esr" and "ripple_esl": shares of the capacitor's three voltages.

    The switching current that flows into the output capacitor makes three voltages there, in series: their ratios to the
    whole emf are those of 1/(j w C), ESR and j w ESL to the capacitor's impedance, whatever the regulating branch takes.
    """
    inside, f = design.converter, spectra.frequencies
    whole, parts = inside.capacitor_impedance(f), inside.capacitor_voltages(f)
    by_source: dict[tuple[str, str], np.ndarray] = {}
    for (place, source), c in spectra.by_source.items():
        if source == "ripple":
            by_source |= {(place, name): c * (part / whole) for name, part in parts.items()}
        else:
            by_source[place, source] = c
    return replace(spectra, by_source=by_source)


def sources(spectra: Spectra, load: str, narrow: Band, wide: Band) -> tuple[Source, ...]:
    """Every source at a load, from `split` spectra, the one that makes most in 20 MHz first."""
    whole = {band: float(spectra.peak_to_peak(load, band)) for band in (narrow, wide)}
    listed = [_source(spectra, load, name, whole) for name in spectra.sources(load)]
    return tuple(sorted(listed, key=lambda one: (-one.ripple_alone, one.name)))


def _source(spectra: Spectra, load: str, name: str, whole: dict[Band, float]) -> Source:
    own = (load, name) in spectra.by_source
    c = spectra.by_source[load, name] if own else spectra.reflected[load, name]
    narrow, wide = whole
    without = {band: float(spectra.peak_to_peak(load, band, leave_out=name)) for band in whole}
    return Source(
        name=name,
        ripple_alone=float(spectra.alone(load, name, narrow)),
        ripple_falls=whole[narrow] - without[narrow],
        spike_alone=float(spectra.alone(load, name, wide)),
        spike_falls=whole[wide] - without[wide],
        frequencies=spectra.frequencies if own else spectra.reflected_frequencies[name],
        coefficients=c,
        power=2 * np.real(c * np.conj(spectra.whole(load) if own else c)),
        power_alone=2 * np.abs(c) ** 2,
        waveform=spectra.waveform(load, wide, name) if own else None,
    )
