"""The ripple at one operating point: its bands, figures and what they depend on."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, TypeVar

import numpy as np

from filterlib.analysis.described import Hertz, Ratio, Unit, Volts
from filterlib.analysis.stability.stability_result import Stability
from filterlib.analysis.uncertainty.plausible import Interval, Plausible, too_wide
from filterlib.errors import FilterlibError, did_you_mean
from filterlib.network.extremes import peak_to_peak, rough_peak_to_peak
from filterlib.network.spectrum import lowpass_response, passed
from filterlib.parts.values import Value
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameter import SHAPE
from filterlib.system.requirements import RippleRequirement, SpikeRequirement, band_label, band_words
from filterlib.system.sources.source_shapes import SourceSpectra, samples

FEW = 16  # harmonics, spread over all, that tell how much a parameter moves the ripple
Place = TypeVar("Place", bound=Hashable)  # its name, or any label
TRUSTED = 30e6  # [Hz] above which leads and couplings that no file states decide: common practice, no source
BEFORE = "_before"
AT_LOAD = {".input_capacitor.": "input capacitor", ".lead.length": "lead"}
"""In the key of what is uncertain of a part at a load: what that is."""
MEASUREMENTS = {  # key or its beginning: the measurement that settles it
    "converter.output_capacitance": "second reading",
    "converter.output_esr": "second reading, harmonics",
    "converter.output_esl": "second reading, above 1 MHz",
    "converter.bulk_esr_ratio": "second reading, harmonics",
    "converter.lead_inductance": "second reading, above 1 MHz",
    "converter.bank.test": "test capacitor",
    "converter.bank": "two recordings",
    "converter.duty": "duty cycle",
    "converter.edge_time": "rise time",
    SHAPE: "shape",
    "converter.pulse_fall": "shape",
    "converter.spike": "spike",
    "converter.ripple.order": "scope's limit",
    "converter.common_mode.rise_time": "rise time",
    "converter.common_mode.fall_time": "fall time",
    "converter.common_mode.ring": "ring",
    "converter.supply": "input cable",
    "converter.common_mode": "own clip",
    "converter.burst": "light load",
    "converter.output_resistance": "idle and full load",
    "converter.loop_bandwidth": "load step",
    "load.": "load's lead",
    "clip.": "clip's lead",
    "coupling.": "capacitor moved",
}


@dataclass(frozen=True)
class Band:
    """A band of measurement: first-order high-pass at ``above``, low-pass of ``order`` at ``bandwidth``."""

    label: str
    bandwidth: Hertz[float | None]
    order: int
    above: Hertz[float] = 0.0

    @property
    def words(self) -> str:
        """The band as a phrase."""
        return band_words(self.above, self.bandwidth)

    def response(self, frequencies: np.ndarray) -> np.ndarray:
        """Complex transfer of the band (f,)."""
        high = frequencies / (frequencies - 1j * self.above) if self.above else 1.0
        return high * lowpass_response(frequencies, self.bandwidth, self.order)


def bands(design: Design) -> tuple[Band, ...]:
    """20 MHz, full bandwidth, and every further band that a requirement names."""
    order = design.converter.ripple.order
    by_label = {"20MHz": Band("20MHz", 20e6, order), "full": Band("full", None, 1)}
    for wanted in design.requirements:
        if isinstance(wanted, RippleRequirement | SpikeRequirement):
            label = band_label(wanted.above, wanted.bandwidth, wanted.order)
            by_label.setdefault(label, Band(label, wanted.bandwidth, wanted.order or order, wanted.above))
    return tuple(by_label.values())


def named_band(design: Design, label: str) -> Band:
    """The band of that label, among those of `bands`. Raises FilterlibError with the nearest one."""
    labelled = {band.label: band for band in bands(design)}
    if label not in labelled:
        raise FilterlibError(f'no band "{label}"; {did_you_mean(label, labelled)}')
    return labelled[label]


def narrow_and_wide(design: Design) -> tuple[Band, Band]:
    """The two bands in which a load is looked at: 20 MHz and full bandwidth."""
    narrow, wide, *_ = bands(design)
    return narrow, wide


@dataclass(frozen=True)
class Spectra:
    """Complex coefficients c_1 .. c_h by (place, source); (h,) or (designs, h).

    ``frequencies`` (h,) of the converter's harmonics; sources "ripple", "spike", "common_mode". ``reflected``: the
    same by (place, load) for the loads' own ripple, each on its own frequencies ``reflected_frequencies[load]``.
    """

    frequencies: Hertz[np.ndarray]
    by_source: Volts[dict[tuple[str, str], np.ndarray]]
    reflected: Volts[dict[tuple[str, str], np.ndarray]]
    reflected_frequencies: Hertz[dict[str, np.ndarray]]
    source_spectra: SourceSpectra

    @property
    def places(self) -> tuple[str, ...]:
        """The places, in order."""
        return tuple(dict.fromkeys(place for place, _ in self.by_source))

    def sources(self, place: str) -> tuple[str, ...]:
        """Everything that acts at a place."""
        return tuple(source for at, source in (*self.by_source, *self.reflected) if at == place)

    def whole(self, place: str, leave_out: str = "") -> np.ndarray:
        """All of the converter's sources at a place, or all but one."""
        parts = [c for (at, source), c in self.by_source.items() if at == place and source != leave_out]
        return sum(parts[1:], parts[0]) if parts else np.zeros(1)

    def waveform(self, place: str, band: Band, source: str = "") -> np.ndarray:
        """One period [V] at a place in a band: all of the converter's sources, or one."""
        chosen = self.by_source[place, source] if source else self.whole(place)
        return samples(chosen * band.response(self.frequencies))

    def alone(self, place: str, source: str, band: Band) -> Value:
        """Peak to peak [V] of what one source makes alone."""
        if (place, source) in self.by_source:
            return peak_to_peak(self.by_source[place, source] * band.response(self.frequencies))
        return peak_to_peak(self.reflected[place, source] * band.response(self.reflected_frequencies[source]))

    def peak_to_peak(self, place: str, band: Band, leave_out: str = "", *, rough: bool = False) -> Value:
        """Peak to peak [V] of the whole; a load's own ripple is of another frequency, so its figure adds."""
        return self.swings(place, [band], leave_out, rough=rough)[0]

    def swings(self, place: str, bands: Iterable[Band], leave_out: str = "", *, rough: bool = False) -> list[Value]:
        """The same in several bands. ``rough``: in half the time, see `rough_peak_to_peak`."""
        whole, swing = self.whole(place, leave_out), rough_peak_to_peak if rough else peak_to_peak
        precision = np.result_type(whole, np.complex64)
        others = [source for at, source in self.reflected if at == place and source != leave_out]
        limits = [band.response(self.frequencies).astype(precision, copy=False) for band in bands]
        limits = [passed(one) if rough else one for one in limits]
        return [
            swing(whole[..., : limit.shape[-1]] * limit) + sum(self.alone(place, source, band) for source in others)
            for band, limit in zip(bands, limits, strict=True)
        ]

    def rms(self, place: str, band: Band) -> Value:
        """Root mean square [V] of the whole; different frequencies add as powers."""
        parts = [self.whole(place) * band.response(self.frequencies)]
        parts += [
            c * band.response(self.reflected_frequencies[s]) for (at, s), c in self.reflected.items() if at == place
        ]
        size: Value = np.sqrt(sum(2 * np.sum(np.abs(part) ** 2, axis=-1) for part in parts))
        return size


def measurement(key: str) -> str:
    """Name of the measurement that settles an uncertain parameter; "" where none is known.

    >>> measurement("filter.L1.leakage"), measurement("load.modem.input_capacitor.esr"), measurement("converter.duty")
    ('part L1', 'part the input capacitor of modem', 'duty cycle')
    >>> measurement("load.modem.lead.length"), measurement("load.modem.lead.height")
    ('part the lead of modem', "load's lead")
    """
    if key.startswith("filter."):
        return f"part {key.split('.')[1]}"
    for inside, part in AT_LOAD.items():
        if inside in key:
            return f"part the {part} of {key.split('.')[1]}"
    return next((name for start, name in MEASUREMENTS.items() if key.startswith(start)), "")


@dataclass(frozen=True)
class Figure:
    """Ripple at one place in one band.

    ``low``, ``high``: interval of the peak to peak (NaN where there is none): the worst found; ``probable_low``,
    ``probable_high``: in which nine plausible cases in ten are, NaN where too few agree with the readings. ``by_source``: peak to peak that each source makes
    alone; ``reduction``: by how much the whole falls without it. Peak to peak figures of sources do not add.
    """

    peak_to_peak: Annotated[float, Unit("V", "peak to peak", "pp")]
    rms: Volts[float]
    low: Annotated[float, Unit("V", key="pp_low")]
    high: Annotated[float, Unit("V", key="pp_high")]
    by_source: Annotated[Mapping[str, float], Unit("V", "alone", "alone_pp")]
    reduction: Annotated[Mapping[str, float], Unit("V", "the total is lower without it by", "reduction")]
    probable_low: Annotated[float, Unit("V", key="pp_probable_low")] = np.nan
    probable_high: Annotated[float, Unit("V", key="pp_probable_high")] = np.nan

    @property
    def wide(self) -> bool:
        """True where nine plausible cases in ten are so far apart that one number does not decide it."""
        return too_wide(self.probable_low, self.probable_high)


@dataclass(frozen=True)
class Sensitivity:
    """What one uncertain parameter alone does to the ripple at the first load to 20 MHz.

    ``pp_at_low``, ``pp_at_high``: least and greatest ripple while it moves through its range alone; ``share`` of the interval's
    width in decibels, all uncertain parameters' shares adding to 1; ``measurement``: name of the one that would settle it.
    """

    key: str
    label: str
    unit: str
    nominal: Annotated[float, Unit("{unit}", key=None)]
    low: Annotated[float, Unit("{unit}", key=None)]
    high: Annotated[float, Unit("{unit}", key=None)]
    pp_at_low: Volts[float]
    pp_at_high: Volts[float]
    share: Annotated[float, Unit("", "share of the interval")]
    measurement: str


@dataclass(frozen=True)
class RippleResult:
    """Ripple at one operating point.

    ``figures``: (place, band) -> `Figure`; places are "terminals", each load, and each of them with "_before": without
    the filter. ``times`` (t,): one period; ``waveforms``: (place, band) -> (t,); ``partial``: (place, band, source)
    -> (t,), their sum being the waveform. ``spectra``: place -> (h,) complex peak amplitudes; ``spectra_by_source`` alike by
    (place, source). ``uncertain_parameters``: the greatest first. ``depends``: (place, band) -> key of the uncertain
    parameter that moves that figure most. ``estimated``: alike, peak to peak if the converter bursts, where that has to be
    suspected; it is within the figure's interval. ``extents``: alike, the interval with the values that make its ends.
    ``largest_factor``: largest emf over reading that was used. ``without_spike``: (place, band) of figures that lack
    spikes, as none is stated. ``ripple_as_measured``, ``spike_as_measured``: what the stated arrangements read on the model, of
    all sources; NaN where no spike is stated. ``readings_off``: how many times as inexact as a scope's they are taken. ``reason``: why there is nothing at all (an unstable circuit), else None.
    """

    point: str
    switching_frequency: Annotated[float, Unit("Hz", key=None)]
    places: tuple[str, ...] = ()
    figures: Mapping[tuple[str, str], Figure] = field(default_factory=dict)
    times: Annotated[np.ndarray, Unit("s", key=None)] = field(default_factory=lambda: np.zeros(0))
    waveforms: Annotated[Mapping[tuple[str, str], np.ndarray], Unit("V", key=None)] = field(default_factory=dict)
    partial: Annotated[Mapping[tuple[str, str, str], np.ndarray], Unit("V", key=None)] = field(default_factory=dict)
    frequencies: Annotated[np.ndarray, Unit("Hz", key="frequency")] = field(default_factory=lambda: np.zeros(0))
    spectra: Annotated[Mapping[str, np.ndarray], Unit("V", key="peak")] = field(default_factory=dict)
    spectra_by_source: Annotated[Mapping[tuple[str, str], np.ndarray], Unit("V", key=None)] = field(
        default_factory=dict
    )
    uncertain_parameters: tuple[Sensitivity, ...] = ()
    depends: Mapping[tuple[str, str], str] = field(default_factory=dict)
    estimated: Annotated[Mapping[tuple[str, str], float], Unit("V", "if it bursts", None)] = field(default_factory=dict)
    extents: Mapping[tuple[str, str], Interval] = field(default_factory=dict)
    largest_factor: Ratio[float] = np.nan
    largest_factor_frequency: Annotated[float, Unit("Hz", key="largest_factor")] = np.nan
    trusted_to: Hertz[float] = TRUSTED
    without_spike: frozenset[tuple[str, str]] = frozenset()
    ripple_as_measured: Annotated[float, Unit("V", "as measured", "*_pp")] = np.nan
    spike_as_measured: Annotated[float, Unit("V", "as measured", "*_pp")] = np.nan
    readings_off: Annotated[float, Unit("", "times as far off the readings are taken", "*_ratio")] = 1.0
    reason: Stability | None = None

    @property
    def plausible(self) -> Plausible | None:
        """The plausible combinations over which the figures were sought; None where none were drawn."""
        return next((one.plausible for one in self.extents.values()), None)


def trusted_to(design: Design) -> float:
    """Highest frequency [Hz] at which figures are more than a shape's continuation: as measured, and at most `TRUSTED`."""
    bandwidths = [design.converter.ripple.bandwidth] + (
        [design.converter.spike.bandwidth] if design.converter.spike else []
    )
    return min(TRUSTED, max(np.inf if width is None else width for width in bandwidths))
