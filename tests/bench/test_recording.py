"""What a recording says of itself, by file or by argument, and which samples count as clipped."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.bench.capture.recording import load_recording
from filterlib.errors import InputError, QuantityError

HEAD = "time [ms];CH1 [mV];CH2 [V]\n"
ROWS = "0;1;10\n0.1;2;20\n0.2;3;10\n0.3;2;20\n"


@pytest.fixture
def load(tmp_path):
    def from_text(text, channel=None, **options):
        path = tmp_path / "r.csv"
        path.write_text(text, encoding="utf-8")
        return load_recording(path, channel, **options)

    return from_text


def test_units_and_channels(load):
    first, second = load(HEAD + ROWS), load(HEAD + ROWS, "ch2")
    assert_allclose(first.volts, [1e-3, 2e-3, 3e-3, 2e-3], rtol=1e-15, atol=0)  # hand
    assert_allclose(second.volts, [10, 20, 10, 20], rtol=1e-15, atol=0)  # hand
    assert_allclose(first.time[1:], [1e-4, 2e-4, 3e-4], rtol=1e-12, atol=0)  # hand
    assert first.channels == second.channels == ("CH1", "CH2")
    assert (first.channel, second.channel) == ("CH1", "CH2")
    assert load(HEAD + ROWS, 2).channel == "CH2"
    assert "CH1 was read, the first of CH1, CH2" in first.assumptions
    with pytest.raises(InputError, match="no channel 'CH3'; did you mean \"CH2\""):
        load(HEAD + ROWS, "CH3")
    with pytest.raises(InputError, match="no channel 0"):
        load(HEAD + ROWS, 0)


def test_figures_of_a_recording(load):
    taken = load(HEAD + ROWS)
    assert taken.peak_to_peak == pytest.approx(2e-3, rel=1e-12, abs=0)  # hand
    assert taken.mean == pytest.approx(2e-3, rel=1e-12, abs=0)  # hand
    assert taken.rms == pytest.approx(np.sqrt(4.5) * 1e-3, rel=1e-12, abs=0)  # hand: (1 + 4 + 9 + 4) / 4
    assert taken.duration == pytest.approx(4e-4, rel=1e-12, abs=0)  # hand
    with pytest.raises(ValueError, match="read-only"):
        taken.volts[0] = 1


@pytest.mark.parametrize(
    ("line", "field", "value"),
    [
        ("Coupling;AC", "coupling", "AC"),
        ("Input coupling;dc 50 ohm", "coupling", "DC"),
        ("Probe factor;10", "probe_factor", 10),
        ("Probe: 10:1", "probe_factor", 10),
        ("Probe attenuation;x1", "probe_factor", 1),
        ("Probe attenuation;10X", "probe_factor", 10),
        ("Bandwidth limit;20 MHz", "bandwidth", 20e6),
        ("Bandwidth limit;20;MHz", "bandwidth", 20e6),
        ("Bandwidth [MHz];20", "bandwidth", 20e6),
        ("# bandwidth = 20MHz", "bandwidth", 20e6),
        ("Bandwidth limit;full", "bandwidth", None),
        ("Full scale;400 V", "full_scale", 400),
        ("Range;±200 V", "full_scale", 400),
        ("Volts/div;50 V/div", "full_scale", 400),
        ("Vertical scale;50;V", "full_scale", 400),
    ],
)
def test_settings_of_the_preamble(load, line, field, value):
    found = getattr(load(f"{line}\n{HEAD}{ROWS}"), field)  # hand
    assert found == value if not isinstance(value, float) else found == pytest.approx(value, rel=1e-12, abs=0)


@pytest.mark.parametrize(
    "line",
    ["Sample interval;2,5 µs", "Sampling interval: 2.5 us", "dt [us];2,5", "Sample rate;400 kS/s", "sample rate;4e5"],
)
def test_stated_interval(load, line):
    taken = load(f"{line}\nCH1 [mV]\n1,5\n2,5\n")
    assert taken.sample_interval == pytest.approx(2.5e-6, rel=1e-12, abs=0)  # hand
    assert_allclose(taken.volts, [1.5e-3, 2.5e-3], rtol=1e-12, atol=0)  # hand


def test_arguments_come_before_the_file(load):
    text = f"Coupling;AC\nBandwidth;20 MHz\nFull scale;400 V\n{HEAD}{ROWS}"
    taken = load(text, coupling="DC", bandwidth="100 MHz", full_scale="1 kV")
    assert (taken.coupling, taken.bandwidth, taken.full_scale) == ("DC", 100e6, 1000)  # hand
    assert load("CH1\n1\n2\n", sample_interval="1 us").sample_interval == 1e-6  # hand


def test_an_index_column_is_no_time(load):
    taken = load("sample;CH1 [V]\n0;5\n1;6\n2;7\n", sample_interval=1e-6)
    assert taken.sample_interval == 1e-6  # hand
    assert taken.volts[0] == 5  # hand


def test_the_probe_corrects_by_the_ratio(load):
    plain = load(HEAD + ROWS, probe_factor=10)
    assert plain.volts[0] == pytest.approx(10e-3, rel=1e-12, abs=0)  # hand: the file contains no factor
    stated = load("Probe factor;10\n" + HEAD + ROWS, probe_factor=10)
    assert stated.volts[0] == pytest.approx(1e-3, rel=1e-12, abs=0)  # hand: the file contains it
    assert any("multiplied by 10" in one for one in plain.assumptions)
    assert plain.probe_factor == stated.probe_factor == 10
    scaled = load("Full scale;1 kV\n" + HEAD + ROWS, probe_factor=10)
    assert scaled.full_scale == pytest.approx(10e3, rel=1e-12, abs=0)  # hand: at the tip, as the volts


def test_a_setting_for_each_channel(load):
    text = f"Coupling;AC;DC\nFull scale;400 mV;100 V\n{HEAD}{ROWS}"
    first, second = load(text, "CH1"), load(text, "CH2")
    assert (first.coupling, second.coupling) == ("AC", "DC")
    assert second.full_scale == 100  # hand
    with pytest.raises(InputError, match="line 1 = 'AC, DC, AC'"):
        load(f"Coupling;AC;DC;AC\n{HEAD}{ROWS}")


@pytest.mark.parametrize(
    ("name", "value"),
    [("probe_factor", 0), ("bandwidth", "20 MV"), ("full_scale", -1), ("sample_interval", "nan"), ("coupling", "GND")],
)
def test_wrong_arguments(load, name, value):
    with pytest.raises(QuantityError, match=name):
        load(HEAD + ROWS, **{name: value})


def test_what_is_assumed_is_said(load):
    said = load("t;u\n0;1\n1;2\n2;1\n").assumptions
    assert any("no unit for the signal" in one for one in said)
    assert any("no unit for the time" in one for one in said)
    assert any("full scale not known" in one for one in said)


TIMES = np.arange(6000)
TRIANGLE = 2 * np.abs((TIMES / 600) % 1 - 0.5)


def _quantised(volts, step=1 / 200):
    return np.round(volts / step) * step


def _text(volts):
    return "time [us];CH1 [V]\n" + "".join(f"{t};{v:.6g}\n" for t, v in zip(TIMES, volts, strict=True))


@pytest.mark.parametrize(
    "wave",
    [
        TRIANGLE,
        _quantised(TRIANGLE),
        _quantised(np.sin(2 * np.pi * TIMES / 600)),
        np.sin(2 * np.pi * TIMES / 600),
        np.where(TIMES % 600 < 200, 1.0, 0.0),
        _quantised(np.clip(4 * TRIANGLE - 1.5, 0, 1) + np.random.default_rng(1).normal(0, 0.004, TIMES.size)),
        np.round(np.random.default_rng(2).normal(0, 0.8, TIMES.size)),
        np.zeros(TIMES.size),
        np.clip(20 * TRIANGLE - 9.5, 0, 1),
        np.round(5 * np.clip(2.2 * TRIANGLE - 0.6, 0, 1)),
    ],
    ids=[
        "triangle",
        "8 bit triangle",
        "8 bit sine",
        "sine",
        "rectangle",
        "noisy trapezoid",
        "quiet",
        "nothing",
        "steep trapezoid",
        "six levels",
    ],
)
def test_a_whole_wave_is_not_called_clipped(load, wave):
    assert load(_text(wave)).samples == TIMES.size


@pytest.mark.parametrize("limit", [0.5, 0.8, 0.95])
@pytest.mark.parametrize("noise", [0, 0.003])
@pytest.mark.parametrize("wave", [TRIANGLE, (1 + np.sin(2 * np.pi * TIMES / 600)) / 2], ids=["triangle", "sine"])
def test_a_clipped_wave_is_counted(load, wave, noise, limit):
    seen = _quantised(wave + np.random.default_rng(3).normal(0, noise, TIMES.size))
    with pytest.raises(InputError) as caught:
        load(_text(np.minimum(seen, limit)))
    cut = int(np.count_nonzero(seen >= limit - 1e-9))  # second method
    assert f"{cut} samples in all" in str(caught.value)


def test_full_scale_decides_what_is_clipped(load):
    flat = np.clip(4 * TRIANGLE - 1.5, 0.1, 0.9)
    with pytest.raises(InputError, match="clipped 11 times"):  # hand: 10 periods that begin at the top
        load(_text(np.minimum(TRIANGLE, 0.9)))
    assert load(_text(np.minimum(TRIANGLE, 0.9)), full_scale=4).peak_to_peak == pytest.approx(0.9, rel=1e-9, abs=0)
    with pytest.raises(InputError, match="clipped"):
        load(_text(flat - 0.5), full_scale=0.8)
    with pytest.raises(InputError, match="clipped"):  # away from zero, the offset not known: the range decides
        load(_text(flat + 28), full_scale=0.8)
    assert load(_text(flat + 28), full_scale=1).samples == TIMES.size


def test_an_offset_moves_the_ends(load):
    head = "Full scale;2 V\nOffset;0.5 V\n"
    assert load(head + _text(TRIANGLE)).samples == TIMES.size
    with pytest.raises(InputError, match="CH1 is clipped"):
        load(head + _text(np.minimum(2 * TRIANGLE, 1.5)))


@pytest.mark.parametrize("interval", ["10 ns", "10 ns;10 ns"])
def test_nameless_columns_below_a_stated_interval_are_channels_or_time_and_channel(interval, load):
    """Found by damaged files: whether the first column is the time was asked for ever."""
    rising = load(f"Sample interval;{interval}\n0;1\n1e-8;2\n2e-8;1\n")
    assert (rising.channels, rising.sample_interval) == (("CH1",), pytest.approx(1e-8, rel=1e-9, abs=0))
    level = load(f"Sample interval;{interval}\n5;1\n5;2\n5;1\n", 2)
    assert (level.channels, level.sample_interval) == (("CH1", "CH2"), pytest.approx(1e-8, rel=1e-9, abs=0))
    with pytest.raises(InputError, match="one value is needed"):
        load("Sample interval;10 ns;20 ns\n0;1\n1;2\n")
