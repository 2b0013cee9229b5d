"""A recording as the converter's ripple: undone by its arrangement, harmonic by harmonic."""

import numpy as np
import pytest

from filterlib.analysis.ripple.ripple_result import bands
from filterlib.analysis.ripple.spectra import as_measured, spectra
from filterlib.errors import InputError
from filterlib.network.waveform import lowpass_response
from filterlib.system.inside.converter import RETURN
from filterlib.system.inside.recorded import Recorded
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import solve
from filterlib.system.sources.measuring import measuring_circuit
from filterlib.system.sources.source_spectra import ScaleError, source_spectra
from tests.designs import common_mode, converter, design, shunt

FREQUENCY, CURRENT = 180e3, 4.0
ARRANGEMENT = {
    "bandwidth": "20 MHz", "order": 1, "lead_inductance": "30 nH", "load_current": "4 A",
    "capacitors": [{"capacitance": "10 µF"}, {"capacitance": "1 µF"}],
}  # fmt: skip


def one(ripple, **more):
    return design(shunt("2.2 µF"), common_mode(), shunt("2.2 µF"), source=converter(ripple=ripple, **more))


def shown(source):
    """The recording that the stated converter's own model would give, begun a third of a period late."""
    count = int(20e6 / FREQUENCY)
    forces = source_spectra(source, CURRENT)
    frequencies = forces.frequencies[1 : count + 1]
    transfer = measuring_circuit(source, source.ripple, CURRENT).transfer(frequencies, "ripple", ("probe", RETURN))
    seen = forces.ripple[1 : count + 1] * transfer * lowpass_response(frequencies, 20e6, 1)
    late = np.exp(-2j * np.pi * np.arange(1, count + 1) / 3)
    return Recorded("terminals.csv", FREQUENCY, tuple(seen * late))


@pytest.fixture(scope="module")
def figure_only():
    return one({"peak_to_peak": "110 mV", **ARRANGEMENT}, shape="triangle", duty=0.4)


@pytest.fixture(scope="module")
def with_recording(figure_only):
    ripple = {"peak_to_peak": "110 mV", "recording": shown(figure_only.converter), **ARRANGEMENT}
    return one(ripple, shape="triangle", duty=0.4)


def test_a_recording_of_the_model_gives_its_emf_again(figure_only, with_recording):
    """Second method: the emf that made the recording, inside the bandwidth; nothing beyond it."""
    made, found = source_spectra(figure_only.converter, CURRENT), source_spectra(with_recording.converter, CURRENT)
    inside = int(20e6 / FREQUENCY) + 1
    scale = np.max(np.abs(made.ripple))
    late = found.ripple[1] / made.ripple[1]
    k = np.arange(inside)
    assert np.max(np.abs(found.ripple[:inside] - made.ripple[:inside] * late**k)) < 1e-9 * scale
    assert abs(np.angle(late)) < 2 * np.pi / 1000  # its edges stand where the model's are, to a step of the search
    assert not np.any(found.ripple[inside:])  # hand: nothing is claimed beyond 20 MHz
    assert found.largest_factor == pytest.approx(made.largest_factor, rel=1e-12, abs=0)


def test_the_arrangement_reads_what_was_recorded(with_recording):
    """Put back through load, lead, fixture capacitors and low-pass, the recording is there again."""
    recorded = with_recording.converter.ripple.recording
    wave = 2 * np.abs(np.fft.irfft(np.concatenate([[0], recorded.harmonics]), 4096) * 2048)
    assert wave.max() > 0
    series = np.fft.irfft(np.concatenate([[0], recorded.harmonics]), 4096) * 4096
    assert as_measured(with_recording)["ripple"] == pytest.approx(np.ptp(series), rel=2e-3, abs=0)  # second method


def test_the_load_sees_the_same_with_and_without_the_recording(figure_only, with_recording):
    """Where figure and recording are of the same converter, so is what is left behind the filter."""
    twenty = bands(figure_only)[0]
    seen = [
        float(spectra(solve(d)).peak_to_peak(d.loads[0].name, twenty)) for d in (figure_only, with_recording)
    ]  # the figure alone goes on beyond 20 MHz, where a single pole still lets something through
    assert seen[1] == pytest.approx(seen[0], rel=0.02, abs=0)


def test_what_the_noise_hides_makes_nothing(figure_only):
    clear = shown(figure_only.converter)
    partly = Recorded(
        "terminals.csv", FREQUENCY, tuple(c if k < 20 and k % 3 else 0j for k, c in enumerate(clear.harmonics))
    )
    emf = source_spectra(one({"peak_to_peak": "110 mV", "recording": partly, **ARRANGEMENT}).converter, CURRENT).ripple[
        1:
    ]
    assert np.array_equal(np.flatnonzero(emf), [k for k in range(20) if k % 3])
    assert partly.highest == 20 * FREQUENCY  # hand: the last one kept has the order 20


def test_a_spike_lies_beyond_what_was_recorded(figure_only):
    ripple = {"peak_to_peak": "110 mV", "recording": shown(figure_only.converter), **ARRANGEMENT}
    both = one(ripple, spike={"peak_to_peak": "1.5 V", "load_current": "4 A"})
    found = source_spectra(both.converter, CURRENT)
    inside = int(20e6 / FREQUENCY)
    assert not np.any(found.spike[: inside + 1])
    assert as_measured(both)["spike"] == pytest.approx(1.5, rel=2e-3, abs=0)  # hand: as stated
    small = one({**ripple, "capacitors": []}, spike={"peak_to_peak": "50 mV", "load_current": "4 A"})
    with pytest.raises(ScaleError, match=r"spike.peak_to_peak = 50 mV: the recorded ripple alone already reads"):
        source_spectra(small.converter, CURRENT)


def test_many_designs_at_once(with_recording):
    """A value of shape (designs, 1) inside gives the emf of each design alone."""
    source, values = with_recording.converter, np.array([[10e-6], [22e-6], [47e-6]])
    many = source.model_copy(update={"output_capacitance": source.output_capacitance.at(values)})
    together = source_spectra(many, CURRENT).ripple
    for row, value in zip(together, values[:, 0], strict=True):
        alone = source.model_copy(update={"output_capacitance": source.output_capacitance.at(float(value))})
        expected = source_spectra(alone, CURRENT).ripple
        assert np.max(np.abs(row - expected)) < 1e-12 * np.max(np.abs(expected))


def test_what_the_recording_tells_is_no_unknown(with_recording, figure_only):
    open_ones = one({"peak_to_peak": "110 mV"})
    keys = {unknown.key for unknown in uncertain_parameters(open_ones)}
    ripple = {"peak_to_peak": "110 mV", "recording": shown(figure_only.converter)}
    told = {unknown.key for unknown in uncertain_parameters(one(ripple))}
    assert keys - told == {f"converter.{name}" for name in ("duty", "edge_time", "pulse_fall", "spike_share")}
    spiky = one(ripple, spike={"peak_to_peak": "1.5 V"})
    assert "converter.duty" in {unknown.key for unknown in uncertain_parameters(spiky)}


def test_what_cannot_be():
    with pytest.raises(InputError, match=r"ripple.recording = 'x.csv': a recording that was read is needed here"):
        one({"peak_to_peak": "110 mV", "recording": "x.csv"})
    with pytest.raises(InputError, match=r"with_capacitor: a second recording says nothing without the first"):
        one(
            {
                "peak_to_peak": "110 mV",
                "with_capacitor": {"capacitance": "10 µF", "recording": Recorded("y", 1e5, (1j,))},
            }
        )
