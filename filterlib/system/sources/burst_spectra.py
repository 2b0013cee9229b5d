"""Harmonics of a converter whose current comes in single pulses, in bursts or in each period: each source a group, exact."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from filterlib.network.extremes import Harmonics
from filterlib.network.waveform import Waveform
from filterlib.parts.values import Value
from filterlib.system.inside.burst import PulseTrain
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.input_side import steps_up
from filterlib.system.inside.recorded import Recorded
from filterlib.system.sources.measuring import Probe
from filterlib.system.sources.source_shapes import (
    SourceSpectra,
    node_voltage,
    samples,
    spike_shape,
    switching_current,
    with_dc,
)

MOST = 8192  # harmonics of a burst; what is above is left out


def burst_spectra(converter: Converter, train: PulseTrain, steady: SourceSpectra) -> SourceSpectra:
    """The sources of a converter that switches in bursts.

    Parameters
    ----------
    converter : Converter
        Its values may be arrays (designs, 1).
    train : PulseTrain
    steady : SourceSpectra
        Of the same converter where it switches all the time: how high its spikes are, and up to which frequency.

    Returns
    -------
    SourceSpectra
        Its frequencies are multiples of the burst's; at most `MOST` of them.

    Notes
    -----
    The current into the output capacitor is `pulse_current`; its force is that current through the impedance inside, while
    the regulation rests (`Converter.idle`): it acts by starting bursts. A recorded burst is taken as it reads. Spikes are as high as at full load, at both edges of
    every pulse; the switching node swings during the pulses. Valid while every pulse begins and ends without current.

    Examples
    --------
    >>> from filterlib.system.sources.source_spectra import source_spectra
    >>> one = Converter(name="Tarn", output_voltage=28, switching_frequency=1e5, shape="triangle", duty=0.5,
    ...                 ripple={"peak_to_peak": 0.1})
    >>> forces = burst_spectra(one, PulseTrain(2, 1e-4, 1.0, 0.1), source_spectra(one, 1.0))
    >>> float(forces.frequencies[1].round(6))
    10000.0
    """
    return _grouped(converter, train, steady, converter.idle, _spike_height(converter, steady))


def discontinuous_spectra(converter: Converter, share: float, steady: SourceSpectra) -> SourceSpectra:
    """The sources of a converter whose output inductor's current is above zero in a ``share`` of each switching period alone.

    Parameters, returns: as `burst_spectra`. The current's slopes are as at full load, so that it rises to that share of its
    swing, over that share of its time, falls to zero, and then nothing flows; the regulation acts as ever.
    Source: R. W. Erickson and D. Maksimović, "Fundamentals of Power Electronics", 3rd ed. (2020), chapter 5 (from memory).

    >>> from filterlib.system.sources.source_spectra import source_spectra
    >>> one = Converter(name="Tarn", output_voltage=28, switching_frequency=1e5, shape="triangle", duty=0.5,
    ...                 ripple={"peak_to_peak": 0.1})
    >>> steady = source_spectra(one, 1.0)
    >>> whole = discontinuous_spectra(one, 1.0, steady)
    >>> bool(np.allclose(whole.ripple, steady.ripple, rtol=1e-9))   # hand: at the border both are one triangle
    True
    """
    k = np.arange(1, steady.ripple.shape[-1])
    unit = switching_current(converter, k) * converter.transfer_impedance(steady.frequencies[1:])
    train = PulseTrain(1, converter.period, share * _height(steady.ripple[..., 1:], unit), np.nan)
    narrow = converter.model_copy(update={"switching_frequency": converter.switching_frequency / share})
    return _grouped(narrow, train, steady, converter, _spike_height(converter, steady))


def _grouped(
    converter: Converter, train: PulseTrain, steady: SourceSpectra, inside: Converter, spike_height: Value
) -> SourceSpectra:
    """Every source as a group of single pulses, one each period of ``converter``; their current meets the impedance ``inside``."""
    count = int(min(np.ceil(steady.frequencies[-1] * train.period * (1 - 1e-9)), MOST))
    k = np.arange(1, count + 1)
    frequencies = k / train.period
    group = _group(k * (converter.period / train.period), train.pulses)
    ripple = train.peak * pulse_current(converter, train, count) * inside.transfer_impedance(frequencies)
    if train.recording is not None:
        ripple = _recorded(converter, train, train.recording, ripple)
    once = converter.model_copy(
        update={
            "switching_frequency": 1 / train.period,
            "duty": converter.duty.at(converter.duty.value * converter.period / train.period),
        }
    )
    feasible = np.where(steady.feasible, 1.0, np.nan)
    return replace(
        steady,
        frequencies=np.concatenate([[0.0], frequencies]),
        ripple=with_dc(feasible * ripple),
        spike=with_dc(feasible * spike_height * _spikes(once, count) * group),
        common_mode=with_dc(feasible * node_voltage(once, k) * group),
    )


def pulse_current(converter: Converter, train: PulseTrain, count: int) -> Harmonics:
    """Coefficients c_1 .. c_count [A] of a burst whose pulses have a peak of 1 A; (count,) or (designs, count).

    An output inductor's current rises to the peak until the switch opens, and falls to zero over the rest of the switching
    period; a diode's jumps to the peak there, and falls to zero. Corners are rounded over the edge time.

    >>> one = Converter(name="Tarn", output_voltage=28, switching_frequency=1e5, shape="pulse", duty=0.5,
    ...                 ripple={"peak_to_peak": 0.1})
    >>> c = pulse_current(one, PulseTrain(3, 1e-3, 1.0, 7.5e-3), 4)
    >>> float(abs(c[0]).round(4))   # hand: at low frequencies three pulses of 2.5 uAs each millisecond
    0.0075
    """
    opened = np.asarray(converter.duty.value) * converter.period
    starts = opened if converter.shape == "pulse" else np.zeros_like(opened)
    return _pulses(converter, train, (starts, opened, converter.period), count)


def drawn_current(converter: Converter, train: PulseTrain, count: int, *, mean: Value) -> Harmonics:
    """Coefficients c_1 .. c_count [A] of what the switches draw at the input in bursts, ``mean`` [A] of it in the mean.

    It rises from zero until the switch opens: in a step-up stage it then falls to zero as its choke does, else at once.
    Charge says how high it is, as the mean is what the load's power needs. Source: R. W. Erickson and D. Maksimović,
    "Fundamentals of Power Electronics", 3rd ed. (2020), chapter 5 (from memory).

    >>> one = Converter(name="Tarn", output_voltage=12, input_voltage=24, switching_frequency=1e5, shape="triangle", duty=0.5,
    ...                 ripple={"peak_to_peak": 0.1})
    >>> c = drawn_current(one, PulseTrain(3, 1e-3, 1.0, 7.5e-3), 4, mean=0.02)
    >>> float(abs(c[0]).round(3))   # hand: far below the pulses' own frequency a train of spikes, each line the mean
    0.02
    """
    opened = np.asarray(converter.duty.value) * converter.period
    end = converter.period + 0 * opened if steps_up(converter) else opened
    one = _pulses(converter, train, (np.zeros_like(opened), opened, end), count)
    return np.asarray(mean * train.period / (train.pulses * end / 2) * one)


def _pulses(converter: Converter, train: PulseTrain, corners: tuple[Value, Value, Value], count: int) -> Harmonics:
    """Of pulses of 1 A that begin, peak and end at ``corners`` [s]; those that coincide make a jump."""
    times = np.concatenate(np.broadcast_arrays(*(np.atleast_1d(t) for t in corners)), axis=-1)
    one = Waveform.lines(train.period, times, np.array([0.0, 1.0, 0.0])).coefficients(count)[..., 1:]
    k = np.arange(1, count + 1)
    rounded = np.sinc(k * converter.edge_time.value / train.period)
    return np.asarray(one * rounded * _group(k * (converter.period / train.period), train.pulses))


def _group(turns: np.ndarray, pulses: int) -> Harmonics:
    """Of a group over one of its pulses: the sum of exp(-j 2 pi n turns), n = 0 .. pulses - 1; (f,)."""
    near = np.mod(turns + 0.5, 1) - 0.5  # whole turns make no difference
    sine = np.sin(np.pi * near)
    small = np.abs(sine) < 1e-9
    size = np.where(small, pulses, np.sin(pulses * np.pi * near) / np.where(small, 1.0, sine))
    return np.asarray(size * np.exp(-1j * np.pi * (pulses - 1) * near))


def _recorded(converter: Converter, train: PulseTrain, recording: Recorded, shape: Harmonics) -> Harmonics:
    """That which reads as recorded in the arrangement of the ripple's figure, its pulses where those of ``shape`` are."""
    k = np.arange(1, shape.shape[-1] + 1)
    seen = converter.ripple.model_copy(update={"load_current": None})
    probe = Probe(converter.idle, seen, k / train.period, float(np.mean(train.delivered)))
    harmonics = recording.coefficients(len(k)) * probe.within
    likeness = samples(np.conj(harmonics) * probe.transfer * shape)
    late = np.argmax(likeness, axis=-1)[..., None] / likeness.shape[-1]
    return np.asarray(harmonics * np.exp(-2j * np.pi * k * late) / probe.transfer)


def _spikes(once: Converter, count: int) -> Harmonics | float:
    return 0.0 if once.spike is None else spike_shape(once, count)


def _spike_height(converter: Converter, steady: SourceSpectra) -> Value:
    """Of the spikes as they are over those of `spike_shape`, where they are known."""
    if converter.spike is None:
        return 0.0
    spike = steady.spike[..., 1:]
    return _height(spike, spike_shape(converter, spike.shape[-1]))


def _height(known: Harmonics, shape: Harmonics) -> Value:
    """Of a wave over that of its shape, where the wave is known: a number, or (designs, 1)."""
    shape = shape * (known != 0)
    size = np.sum(np.abs(shape) ** 2, axis=-1, keepdims=True)
    height: np.ndarray = np.sum(np.real(known * np.conj(shape)), axis=-1, keepdims=True) / np.where(size > 0, size, 1.0)
    return height if np.ndim(height) > 1 else float(height[0])
