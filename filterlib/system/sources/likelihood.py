"""How well a converter, as it may be inside, agrees with what was measured of it beside its peak to peak."""

from __future__ import annotations

import numpy as np

from filterlib.network.extremes import Harmonics, Real, Samples
from filterlib.network.shapes import rectangle, triangle
from filterlib.parts.values import Value
from filterlib.system.inside.converter import Converter
from filterlib.system.sources.measuring import Probe
from filterlib.system.sources.scales import INSTRUMENTS
from filterlib.system.sources.source_shapes import SourceSpectra, switching_current
from filterlib.system.sources.source_spectra import source_spectra

SPREAD = 0.1  # of the logarithm, of a reading about what the model reads, and of a pulse about its average: no source
SWING = 0.1, 1.2
"""Peak to peak of an output inductor's current over the load's: 10 to 60 % are designed for (common practice, no source), light
load and small inductors reach further."""
LOOKS = {"triangle": (0.7, 1.0), "square": (0.7, 1.0), "sawtooth with steps": (0.2, 1.0), "rounded": (0.6, 1.0)}
"""Share of the peak to peak from which on a wave is called by that name; of a sawtooth with steps either has a fifth: no source."""
LOOKED_AT = 25  # harmonics that make the look of a waveform: no source
TIED = 0.9  # share of converters whose current follows from the load's; a second filter inside hides it: no source
DECADES = 6.0  # over which the current of the others may lie
DISCONTINUOUS = 2.0
"""Times as high the others' pulses may be: one that ends early is higher, but no diode carries more than the load draws, and a second
filter only hides current (conservation of charge); how far, no source."""
MISREAD = 1e-3  # share of those above that are believed, as where a load is stated wrongly: no source
RINGS = 0.1, 10.0
"""What a ring makes of the reading with it over what the ripple makes of the other, in usual converters, evenly in ratios: common
practice, no source. Smaller ones are no ring, larger ones rare."""
SLOW = 3e6  # [Hz] above which a recording shows rings rather than the switching current: common practice, no source
ORDERS = 31  # harmonics, up to which it is compared with the shape, octave by octave
MEGAHERTZ = 1e6  # [Hz] at which tracks between unequal capacitors make that spread twice as wide: no source
OCTAVE = 0.25  # of the logarithm, of what an octave of harmonics holds about what the shape makes there: no source
ODD, ODDS = (
    0.2,
    6.0,
)  # share of octaves that hold something else, a ring most of all, and over how many nepers: no source


def log_likelihood(converter: Converter, load_current: float, sources: SourceSpectra | None = None) -> Real:
    """Logarithm of how likely its recording, or its rms and its line at the switching frequency, and its load's current are.

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
    for `TIED` of all converters; of the others nothing is known over `DECADES`, but that a pulse is no higher than `DISCONTINUOUS` makes it.
    Of two readings, with and without the spikes, both sizes are as their changes have it, see `RINGS`. A recording is compared octave by octave with what the
    shape of the current makes behind this inside: the fundamental says how large the current is, the octaves above it how the
    impedance goes on, each to `OCTAVE` and better where the converter switches slowly. Single harmonics say too much: a whole
    spectrum fits no simple inside. Not the phases either: of a passive inside they follow from the magnitudes.

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
    if ripple.recording is not None:
        return _each(converter, _as_recorded(converter, load_current))
    known = source_spectra(converter, load_current) if sources is None else sources
    total = _tie(converter, known.current) if _tied(converter) else np.zeros(1)
    if converter.spike is not None:
        total = total + _sizes(_readings(converter, load_current, known))
    if ripple.rms or ripple.fundamental:
        shown = _shown(converter, load_current, known)
        sizes = np.sqrt(2 * np.sum(np.abs(shown) ** 2, axis=-1)), 2 * np.abs(shown[..., 0])
        for stated, size in zip((ripple.rms, ripple.fundamental), sizes, strict=True):
            total = total + (0.0 if stated is None else _normal(np.log(size / stated)))
    if ripple.waveform is not None:
        total = total + _looks(converter, _shown(converter, load_current, known))
    return _each(converter, total)


def _readings(converter: Converter, load_current: float, sources: SourceSpectra) -> list[list[Real]]:
    """What ripple, ring and, if any, common mode are of the ripple's and of the spike's reading, where it is highest and lowest [V]."""
    assert converter.spike is not None
    frequencies, parts = sources.frequencies[1:], []
    behind = converter.terminal_impedance(frequencies)
    first = Probe(converter, converter.ripple, frequencies, load_current, behind)
    for probe in (first, Probe(converter, converter.spike, frequencies, load_current, behind, first)):
        parted = (one[..., 1:] for one in (sources.ripple, sources.spike, sources.common_mode))
        shown = probe.shown(*parted, rough=True)
        waves = np.broadcast_arrays(*(np.atleast_2d(one) for one in shown))
        parts.append(Samples(*waves).swings(*[np.ones(1)] * len(waves)))
    return parts


def _sizes(readings: list[list[Real]]) -> Real:
    """Of ripple and ring at these sizes: how many pairs of sizes read so nearly the same, and how usual such a ring is.

    Of two sizes that two readings have made, no more is known than of others: evenly in ratios, so that readings weigh by how little
    they move with the sizes (change of variables, any textbook on probability). Where the ring makes most of both readings, many a
    ripple agrees, and small ones most.

    >>> alike = [[np.array([0.5]), np.array([0.5])], [np.array([0.0]), np.array([1.0])]]   # half of what reads 1 V is the ring
    >>> float(np.exp(_sizes(alike))[0].round(9))
    2.0
    """
    (ripple, hidden, *more), (beside, ring, *others) = readings
    reads = (ripple + hidden + sum(more)) * (beside + ring + sum(others))
    moves = np.maximum(np.abs(ripple * ring - hidden * beside) / reads, INSTRUMENTS)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.abs(ring / ripple)
        usual = np.minimum(ratio / RINGS[0], 1.0) / np.maximum(ratio / RINGS[1], 1.0) ** 2
        return np.asarray(np.log(usual / moves))


def _looks(converter: Converter, shown: Harmonics) -> Real:
    """Of how the scope shows the ripple: how far what a combination shows is from looking like that.

    The reading is split into a triangle, a square wave and arcs with corners at the switching edges: of an output inductor's
    current those are what ESR, inductance and capacitance make; of a pulse's, what capacitance, ESR and little else make.
    Their shares of the peak to peak are compared with what one would call by that name (`LOOKS`).
    """
    k = np.arange(1, min(LOOKED_AT, shown.shape[-1]) + 1)
    duty = converter.duty.value
    square, ramp = np.atleast_2d(rectangle(k, duty)), np.atleast_2d(triangle(k, duty))
    arcs = 8 * ramp / (2j * np.pi * k)  # the integral of a triangle of 1 peak to peak has an eighth of it
    pieces = np.stack(np.broadcast_arrays(ramp, square, arcs), axis=-1)
    whole = np.real(np.swapaxes(np.conj(pieces), -1, -2) @ pieces)
    part = np.real(np.swapaxes(np.conj(pieces), -1, -2) @ shown[..., : len(k), None])
    sizes = np.abs(np.linalg.solve(whole, part)[..., 0])
    shares = sizes / np.sum(sizes, axis=-1, keepdims=True)
    ramp_share, step_share, arc_share = np.moveaxis(shares, -1, 0)
    steps = np.minimum(ramp_share, step_share)
    measured = {"triangle": ramp_share, "square": step_share, "sawtooth with steps": steps, "rounded": arc_share}
    low, high = LOOKS[converter.ripple.waveform or "triangle"]
    value = measured[converter.ripple.waveform or "triangle"]
    return np.asarray(_normal(np.maximum(low - value, 0.0) + np.maximum(value - high, 0.0)))


def _each(converter: Converter, total: Real) -> Real:
    """One for each design, minus infinity where there is none."""
    total = np.broadcast_to(np.ravel(total), np.broadcast_shapes(np.shape(np.ravel(total)), (_designs(converter),)))
    return np.where(np.isfinite(total), total, -np.inf)


def says_more(converter: Converter) -> bool:
    """Whether anything was measured that makes one inside likelier than another: rms, one line, the load's current, a spike, a recording.

    A recording whose period is not that of the switches tells nothing of a shape, and a second one tells the inside itself.
    """
    ripple = converter.ripple
    if ripple.recording is not None:
        return ripple.with_capacitor is None and ripple.recording.stated is None
    return bool(_tied(converter) or converter.spike or ripple.rms or ripple.fundamental or ripple.waveform)


def _as_recorded(converter: Converter, load_current: float) -> Real:
    """Of what a recording holds, octave by octave, beside what the shape of the current makes; and of that current's size."""
    recorded = converter.ripple.recording
    assert recorded is not None
    most = min(ORDERS, len(recorded.harmonics), max(1, int(SLOW / converter.switching_frequency)))
    k = np.arange(1, most + 1)
    frequencies = np.asarray(k * converter.switching_frequency, float)
    inner = converter.inner_impedance(frequencies)
    behind = converter.terminal_impedance(frequencies, inner)
    probe = Probe(converter, converter.ripple, frequencies, load_current, behind)
    shape = np.abs(
        np.atleast_2d(
            probe.transfer * converter.transfer_impedance(frequencies, inner) * switching_current(converter, k)
        )
    )
    seen = np.abs(recorded.coefficients(most))
    starts = 2 ** np.arange(int(np.log2(most)) + 1) - 1
    found, made = (np.sqrt(np.add.reduceat(one**2, starts, axis=-1)) for one in (seen, shape))
    spread = OCTAVE * (1 + frequencies[starts[1:]] / MEGAHERTZ)
    with np.errstate(divide="ignore"):
        off = np.log(np.maximum(found, 1e-3 * found[0])) - np.log(made)
    total = np.log(
        (1 - ODD) * np.exp(-0.5 * ((off[:, 1:] - off[:, :1]) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
        + ODD / ODDS
    )
    tie = _tie(converter, np.exp(off[:, 0])) if _tied(converter) else 0.0
    return np.asarray(np.sum(total, axis=-1) + tie)


def _tied(converter: Converter) -> bool:
    drawn = converter.ripple.load_current
    return converter.tied_to_load and drawn is not None and drawn > 0


def _tie(converter: Converter, current: Value) -> Real:
    """Of the switching current's height [A], pulse or swing."""
    drawn = converter.ripple.load_current
    assert drawn is not None  # or there is no tie
    share = np.log(np.ravel(current) / drawn)
    if converter.shape == "pulse":
        share = share + np.ravel(np.log(1 - converter.duty.value))
        likely = np.exp(_normal(share)) / (SPREAD * np.sqrt(2 * np.pi))
    elif converter.ripple.current_swing is not None:
        likely = np.exp(_normal(share - np.log(converter.ripple.current_swing))) / (SPREAD * np.sqrt(2 * np.pi))
    else:
        low, high = np.log(SWING)
        likely = np.where((share > low) & (share < high), 1.0, 0.0) / (high - low)
    loose = np.where(np.isfinite(share), (1 - TIED) / (DECADES * np.log(10)), 0.0)
    if converter.shape == "pulse":
        loose = np.where(share > np.log(DISCONTINUOUS), MISREAD, 1.0) * loose
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
