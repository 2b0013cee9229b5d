"""The recordings of data/recordings: made by the script, of the size and contents that their note states."""

import re
from pathlib import Path

import numpy as np
import pytest

from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.recording import load_recording
from tests import make_recordings as invented

FOLDER = Path(__file__).parents[2] / "data" / "recordings"
NOTE = (FOLDER / "README.md").read_text(encoding="utf-8")
STATED = dict(re.findall(r"\| (\S+\.csv) \|.*\| ([\d.]+ m?V) \|", NOTE))


@pytest.fixture(scope="module")
def own():
    """Peak to peak of each wave behind its limit, by the circuits."""
    found = {}
    for name, plant in invented.PLANTS.items():
        scale = plant.scale()
        waves = {
            "terminals": plant.bare(scale),
            "terminals-with-capacitor": plant.bare(scale, loaded=True),
            "modem": plant.filtered(scale),
        }
        if name == "clean":
            waves["modem-bridged"] = plant.filtered(scale, bridged=True)
        for view, wave in waves.items():
            found[f"{name}-{view}.csv"] = np.ptp(invented.limited(wave, plant.period, 20e6, plant.order))
    wave = invented.limited(plant.bare(scale), plant.period, 200e6, 1)
    return found | {"brick-terminals-full-bandwidth.csv": np.ptp(wave)}


def _volts(text):
    number, unit = text.split()
    return float(number) * {"V": 1.0, "mV": 1e-3}[unit]


def test_the_script_makes_the_files_that_are_here():
    for name, text in invented.recordings().items():
        kept = (FOLDER / name).read_text(encoding="utf-8")
        numbers = [
            [float(one.replace(",", ".")) for one in re.findall(r"^-?\d+[.,]\d+$", t, re.M)] for t in (text, kept)
        ]
        assert len(text.splitlines()) == len(kept.splitlines())
        assert len(kept.encode()) < 300_000
        if numbers[0]:  # another processor may round a sample to the next level
            assert np.mean(np.array(numbers[0]) != np.array(numbers[1])) < 1e-3


def test_the_note_states_what_the_circuits_have(own):
    assert set(STATED) == {path.name for path in FOLDER.glob("*.csv")} == set(own)
    for name, volts in own.items():
        assert _volts(STATED[name]) == pytest.approx(volts, rel=0.005, abs=0)  # pin of the note


@pytest.mark.parametrize("name", [name for name in STATED if "full" not in name])
def test_measured_again(own, name):
    """Averaging and aligning find the circuit's figure again, through steps, noise and jitter."""
    taken = load_recording(FOLDER / name)
    plant = invented.PLANTS[name.split("-")[0]]
    found = measure(taken, order=plant.order)
    assert (taken.coupling, taken.probe_factor, taken.bandwidth, taken.assumptions) == ("AC", 1, 20e6, ())
    assert found.frequency == pytest.approx(1 / plant.period, rel=2e-5, abs=0)  # second method
    assert found.aligned.peak_to_peak == pytest.approx(own[name], rel=0.05, abs=0)  # second method
    assert 0.8e-9 < found.jitter < 1.6e-9  # second method: 1.5 ns, one draw a period, which two readings share
    assert found.raw.spike is None


def test_harmonics_of_the_clean_converter():
    """Up to 2 MHz: within 1 % of the first, of a wave that the recording never saw whole."""
    plant = invented.PLANTS["clean"]
    wave = invented.limited(plant.bare(plant.scale()), plant.period, 20e6, plant.order)
    expected = np.abs(np.fft.rfft(wave))[1:12] / invented.STEPS  # second method
    found = measure(load_recording(FOLDER / "clean-terminals.csv"))
    seen = np.abs(found.average.aligned.coefficients(11))[1:]
    assert np.max(np.abs(seen - expected)) < 0.01 * expected[0]


def test_spikes_of_the_brick(own):
    found = measure(load_recording(FOLDER / "brick-terminals-full-bandwidth.csv"), order=2)
    assert found.frequency == pytest.approx(149.1e3, rel=1e-3, abs=0)  # second method; five periods only
    plant = invented.PLANTS["brick"]
    lines = np.abs(np.fft.rfft(invented.limited(plant.bare(plant.scale()), plant.period, 200e6, 1)))
    above = int(25e6 * plant.period)
    strongest = (above + np.argmax(lines[above:])) / plant.period
    assert found.ring_frequency == pytest.approx(strongest, rel=0.06, abs=0)  # second method: the circuit's own lines
    assert found.raw.ripple == pytest.approx(0.750, rel=0.05, abs=0)  # second method
    assert found.peak_to_peak == pytest.approx(own["brick-terminals-full-bandwidth.csv"], rel=0.06, abs=0)


def test_the_circuits_in_time_and_in_frequency():
    """The stepping against the admittance of a small network, harmonic by harmonic."""
    net = invented.Network()
    net.real_capacitor("a", "0", 10e-6, 20e-3, 10e-9)
    net.l("a", "b", 50e-9, 5e-3)
    net.real_capacitor("b", "0", 2e-6, 10e-3, 5e-9)
    net.r("b", "0", 7.0)
    current = invented.corners([0, 0.4], [-0.5, 0.5])
    net.push("a", "0", current)
    period = 5e-6
    seen = np.fft.rfft(net.steady(period, "b", "0"))[1:30]
    s = 2j * np.pi * np.arange(1, 30) / period
    trace = s * invented.TRACE

    def shunt(farads, ohms, henries):
        return 1 / (ohms + s * henries + 1 / (s * farads + trace)) + trace

    lead = 5e-3 + s * 50e-9
    end = shunt(2e-6, 10e-3, 5e-9) + 1 / 7.0
    start = shunt(10e-6, 20e-3, 10e-9) + 1 / (lead + 1 / end)
    expected = np.fft.rfft(current)[1:30] / start / (1 + lead * end)  # second method
    assert np.max(np.abs(seen - expected)) < 1e-3 * np.abs(expected).max()
