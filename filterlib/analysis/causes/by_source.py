"""What each source makes at a load, the converter's ripple split into what its capacitor's C, ESR and ESL make of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from filterlib.analysis.causes.causes_result import Source
from filterlib.analysis.ripple.ripple_result import Band, Spectra
from filterlib.system.design import Design


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
