"""Recordings that a design file names: what becomes of them, and what is refused."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from filterlib import InputError, load_design, load_recording, review, solve
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.ripple.spectra import as_measured
from filterlib.bench.capture.measurement import measure
from filterlib.cli import main
from filterlib.errors import FilterlibError
from filterlib.system.file import files
from filterlib.system.file.writing import design_toml
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.units import quantity
from filterlib.words.review.assumptions import assumptions
from filterlib.words.review.review_sentences import trust
from tests import make_recordings as invented
from tests.bench.test_measurement import into_a_bank
from tests.calibration.files import write
from tests.calibration.plants import case

DATA = Path(__file__).parents[2] / "data"
CLEAN = (DATA / "designs" / "tide-gauge-clean.toml").read_text(encoding="utf-8")
FIGURE = 'peak_to_peak = "110 mV"'
RECORDING = DATA / "recordings" / "clean-terminals.csv"


def written(folder, entry, text=CLEAN):
    path = folder / "tide-gauge.toml"
    path.write_text(text.replace(FIGURE, entry), encoding="utf-8")
    return path


def test_in_place_of_the_figure(tmp_path):
    design = load_design(written(tmp_path, f'recording = "{RECORDING}"'))
    recorded = design.converter.ripple.recording
    assert design.converter.switching_frequency == pytest.approx(
        180.2e3, rel=1e-5, abs=0
    )  # second method: the script's
    assert design.converter.ripple.peak_to_peak == pytest.approx(0.110, rel=0.03, abs=0)  # second method: the script's
    assert as_measured(design)["ripple"] == pytest.approx(design.converter.ripple.peak_to_peak, rel=0.02, abs=0)
    assert len(recorded.harmonics) == 110  # hand: 20 MHz / 180.2 kHz = 110.99
    assert recorded.kept[0]
    assert recorded.file == str(RECORDING)
    assert design.converter.ripple.bandwidth == quantity("20 MHz", "Hz")


def test_what_the_noise_hides_is_left_out(tmp_path):
    """Second method: every harmonic that the circuit's own wave has above ten times the noise is kept, and few that it has not."""
    recorded = load_design(written(tmp_path, f'recording = "{RECORDING}"')).converter.ripple.recording
    plant = invented.PLANTS["clean"]
    wave = invented.limited(plant.bare(plant.scale()), plant.period, 20e6, plant.order)
    true = np.abs(np.fft.rfft(wave))[1:111] / invented.STEPS
    noise = np.hypot(0.16 / 400, 0.16 / 256 / np.sqrt(12)) / np.sqrt(34_000)  # hand: the scope's noise and its steps
    assert np.all(recorded.kept[true > 10 * noise])
    assert not np.any(recorded.kept[true < noise / 2])


def test_beside_the_design_file_and_with_settings(tmp_path):
    (tmp_path / "scope.csv").write_bytes(RECORDING.read_bytes())
    plain = load_design(written(tmp_path, 'recording = "scope.csv"'))
    tenfold = load_design(written(tmp_path, 'recording = { file = "scope.csv", channel = "CH1", probe_factor = 10 }'))
    assert tenfold.converter.ripple.peak_to_peak == pytest.approx(
        10 * plain.converter.ripple.peak_to_peak, rel=1e-9, abs=0
    )
    assert tenfold.converter.ripple.recording.channel == "CH1"


BROKEN = [
    ('recording = "none.csv"', "none.csv: no such file"),
    ("recording = 3", "the name of a CSV file is needed here"),
    ('recording = { channel = "CH1" }', "the name of a CSV file is needed here"),
    ('recording = { file = "scope.csv", chanel = 1 }', 'no key "chanel" here; did you mean "channel"?'),
    ('recording = { file = "scope.csv", channel = "CH7" }', "CH7"),
    ('recording = { file = "scope.csv", probe_factor = -1 }', "probe_factor"),
    ('recording = "scope.csv"\npeak_to_peak = "110 mV"', "the recording says it: leave this key out"),
    ('recording = "text.csv"', "text.csv"),
    ('recording = "noise.csv"', "no ripple can be taken from it"),
    ('recording = "unlimited.csv"', None),
    (
        'with_capacitor = { capacitance = "10 µF", recording = "scope.csv" }\npeak_to_peak = "110 mV"',
        "without the first",
    ),
]


@pytest.mark.parametrize(("entry", "words"), BROKEN)
def test_refused_with_file_and_key(tmp_path, entry, words, capsys):
    lines = RECORDING.read_text(encoding="utf-8").splitlines()
    (tmp_path / "scope.csv").write_text("\n".join(lines), encoding="utf-8")
    (tmp_path / "text.csv").write_text("\n".join([*lines[:2000], "low tide", *lines[2000:]]), encoding="utf-8")
    noise = np.random.default_rng(3).normal(0, 10, 20_000)
    (tmp_path / "noise.csv").write_text("\n".join([*lines[:8], *(f"{v:.3f}".replace(".", ",") for v in noise)]))
    unlimited = [line for line in lines if not line.startswith("Bandwidth")]
    (tmp_path / "unlimited.csv").write_text("\n".join(unlimited), encoding="utf-8")
    path = written(tmp_path, entry)
    if words is None:  # the design states the bandwidth
        assert load_design(path).converter.ripple.bandwidth == quantity("20 MHz", "Hz")
        path = written(tmp_path, entry, CLEAN.replace('bandwidth = "20 MHz"\nload_current', "load_current"))
        words = "neither the file nor the design says in which bandwidth it was recorded"
    with pytest.raises(InputError) as refused:
        load_design(path)
    assert words in str(refused.value)
    assert str(tmp_path) in str(refused.value)
    assert main(["review", str(path), "--out", str(tmp_path / "out")]) == 2
    assert words in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_another_converters_recording(tmp_path):
    path = written(tmp_path, f'recording = "{DATA / "recordings" / "brick-terminals.csv"}"')
    with pytest.raises(InputError, match=r"switching_frequency = '180 kHz': the recording has 149.1 kHz"):
        load_design(path)


def test_what_noise_hides_is_read_at_the_stated_frequency(tmp_path):
    """hand: a line of 1 mV in noise of 20 mV, which makes 0.14 mV of it over 40,000 samples: a tenth of a turn over 0.4 ms, 270 Hz."""
    times = 10e-9 * np.arange(40_000)
    noise = np.random.default_rng(3).normal(0, 20e-3, times.size)
    rows = [f"{value:.9g}" for value in 1e-3 * np.cos(2 * np.pi * 180.7e3 * times) + noise]
    (tmp_path / "noisy.csv").write_text("\n".join(["Sample interval;10;ns", "CH1 [V]", *rows]), encoding="utf-8")
    assert measure(load_recording(tmp_path / "noisy.csv")).average is None
    design = load_design(written(tmp_path, 'recording = { file = "noisy.csv", bandwidth = "20 MHz" }'))
    assert design.converter.switching_frequency == pytest.approx(180.7e3, rel=3 * 270 / 180.7e3, abs=0)
    assert 2 * abs(design.converter.ripple.recording.harmonics[0]) == pytest.approx(1e-3, rel=0.3, abs=0)


@pytest.mark.parametrize(("seed", "number"), [(31, 95), (81, 2)])
def test_a_ring_behind_each_edge_is_no_burst_where_the_file_says_how_fast_it_switches(seed, number, tmp_path):
    """second method: the simulator's converter of 95.4 kHz, whose two rings of 12.3 and 9.6 MHz, 6 and 3 cycles, cross the mean and the ripple does not.

    And one of 422 kHz with spikes of twice its ripple: most periods cross the mean twice, 0.61 of a period apart, and 13 of 185 once.
    """
    one = case(seed, number)
    path = write(one, "recording", tmp_path)
    assert measure(load_recording(tmp_path / "terminals.csv")).average is None
    found = load_design(path).converter.ripple.recording.frequency
    assert found == pytest.approx(one.converter.frequency, rel=1e-3, abs=0)


def test_a_ring_that_crosses_once_more_now_and_then_cuts_no_period(tmp_path):
    """second method: the simulator's flyback of 394.7 kHz, whose ring crosses the middle once more in two of a hundred periods; taken for dither, it was refused."""
    one = case(91, 170)
    write(one, "recording", tmp_path)
    measured = measure(load_recording(tmp_path / "terminals.csv"))
    assert measured.periods.pattern == "steady"
    assert measured.frequency == pytest.approx(one.converter.frequency, rel=1e-4, abs=0)


def test_a_second_recording_without_a_single_period_of_its_own_is_averaged_over_the_stated_one(tmp_path):
    """second method: the simulator's half bridge: where the capacitor takes most of the ripple its pulses come as if at 0.7 to 1.3 MHz, and without it at 459 kHz; it was refused."""
    one = case(91, 257)
    path = write(one, "two", tmp_path)
    assert measure(load_recording(tmp_path / "with-capacitor.csv")).average is None
    found = load_design(path).converter.ripple.with_capacitor.recording.frequency
    assert found == pytest.approx(one.converter.base, rel=1e-3, abs=0)


def test_an_inside_that_resonates_with_the_second_capacitor_is_found(tmp_path):
    """second method: the simulator's forward converter of 290 kHz, whose bank and C1 are open together at 0.6 MHz; from the two best first branches no fit came there."""
    one = case(72, 4)
    found = load_design(write(one, "two", tmp_path)).converter.output_capacitance
    assert found.low < sum(branch.capacitance for branch in one.converter.bank) < found.high


@pytest.mark.parametrize(("seed", "number"), [(91, 44), (31, 98)])
def test_a_test_capacitor_may_have_another_inductance_than_was_stated(tmp_path, seed, number):
    """second method: the population's own. The capacitor resonates among the lines; it was refused, and is read and said now."""
    one = case(seed, number)
    found = load_design(write(one, "two", tmp_path))
    first = one.filter.first
    true = first.true.esl + first.loop
    taken = found.converter.bank.test_esl
    stated = float(found.converter.ripple.with_capacitor.esl)
    assert stated > 1.1 * true  # hand: nearly two standard uncertainties of 7.5 %
    assert taken.value * stated == pytest.approx(true, rel=0.04, abs=0)
    assert taken.low < taken.value < taken.high
    bank = found.converter.bank
    assert found.converter.elements == pytest.approx(
        np.exp(bank.logarithms), rel=1e-12, abs=0
    )  # nominal: nothing moves
    filter_esl = found.filter[0].part.esl + found.filter[0].mounting_loop.value
    assert filter_esl == pytest.approx(taken.value * stated, rel=1e-9, abs=0)  # the filter begins with this capacitor
    moved = [one for one in uncertain_parameters(found) if one.moved_from is not None]
    assert [one.key for one in moved] == ["converter.bank.test_esl"]
    (said,) = (
        one.why for one in assumptions(SimpleNamespace(assumed=tuple(moved), design=found)) if "ESL" in one.label
    )
    assert "taken in place of 1, so that all readings agree" in said


def test_without_a_reader_the_name_is_refused(tmp_path):
    """The plain reader of design files knows no recordings, and says so instead of passing one over."""
    with pytest.raises(InputError, match="a recording that was read is needed here"):
        files.read_design(written(tmp_path, f'recording = "{RECORDING}"'))


SECOND = f'recording = "{RECORDING}"\nwith_capacitor = {{ recording = "%s", capacitance = "%s" }}'


def test_a_second_recording_tells_the_inside():
    design = load_design(DATA / "designs" / "tide-gauge-clean-recorded.toml")
    found = design.converter.output_capacitance
    assert found.low < found.value < found.high
    assert (
        design.converter.output_capacitance
        != load_design(DATA / "designs" / "tide-gauge-clean.toml").converter.output_capacitance
    )
    assert design.converter.ripple.with_capacitor.capacitance == 10.2e-6  # as the file says


@pytest.mark.parametrize(
    ("second", "words"),
    [
        (("clean-terminals.csv", "10.2 µF"), "with_capacitor"),  # the same once more
        (("brick-terminals.csv", "10.2 µF"), "switch at"),
        (
            ("clean-terminals-with-capacitor.csv", "1 nF"),
            "with_capacitor",
        ),  # another capacitor than the one that stood there
        (("none.csv", "10 µF"), "no such file"),
    ],
)
def test_a_second_recording_that_tells_nothing_is_refused(tmp_path, second, words):
    file, capacitance = second
    path = written(tmp_path, SECOND % (DATA / "recordings" / file, capacitance))
    with pytest.raises(InputError, match=words):
        load_design(path)


@pytest.mark.parametrize(("sheet", "words"), [("90 kHz", "a half or full bridge"), ("360 kHz", "every other period")])
def test_a_data_sheet_may_count_half_or_twice(tmp_path, sheet, words):
    path = written(tmp_path, f'recording = "{RECORDING}"', CLEAN.replace('"180 kHz"', f'"{sheet}"'))
    design = load_design(path)
    assert design.converter.switching_frequency == pytest.approx(180.2e3, rel=1e-5, abs=0)
    recorded = design.converter.ripple.recording
    assert recorded.stated == quantity(sheet, "Hz")
    said = [text for text in trust(review(design)) if f"The file states {sheet}" in text]
    assert len(said) == 1
    assert "the recording repeats at 180.2 kHz" in said[0]
    assert words in said[0]


def rows_of(taken):
    """As a scope's CSV file."""
    rows = (f"{n * taken.sample_interval:.9g},{volts:.6g}" for n, volts in enumerate(taken.volts))
    return "\n".join(["time (s),CH1 (V)", *rows, ""])


def test_a_recording_of_bursts_is_not_taken_for_the_ripple_at_full_load(tmp_path):
    (tmp_path / "bursts.csv").write_text(rows_of(into_a_bank()), encoding="utf-8")
    path = written(
        tmp_path,
        'recording = "bursts.csv"\nbandwidth = "20 MHz"',
        CLEAN.replace('bandwidth = "20 MHz"\nload_current', "load_current"),
    )
    with pytest.raises(InputError, match=r"bursts of 3 pulses at 300\.1 kHz, one burst each 100 µs"):
        load_design(path)


# ---- bursts at light load -----------------------------------------------------------------------------------------

BANK = """
name = "A known bank"
[converter]
name = "Tarn (invented)"
output_voltage = "28 V"
switching_frequency = "300 kHz"
shape = "pulse"
duty = 0.5
edge_time = "50 ns"
output_capacitance = "22 µF"
output_esr = "20 mΩ"
output_esl = 0.0
lead_inductance = 0.0
output_resistance = "20 mΩ"
loop_bandwidth = "9 kHz"
burst_below = "10 %"
[converter.burst]
recording = "bursts.csv"
[converter.ripple]
peak_to_peak = "110 mV"
bandwidth = "20 MHz"
[[load]]
name = "modem"
kind = "constant_current"
current = "1 A"
[[operating_point]]
name = "light"
load = "2.5 %"
"""


def with_bursts(folder, taken=None, text=BANK):
    (folder / "bursts.csv").write_text(rows_of(taken or into_a_bank()), encoding="utf-8")
    path = folder / "bank.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_recorded_burst_is_given_as_it_reads(tmp_path):
    """hand: as in tests/system/test_light_load.py, 107.4 mV; behind 20 MHz the jumps of 20 mV overshoot less."""
    design = load_design(with_bursts(tmp_path))
    burst = design.converter.burst
    assert burst.pulses == 3
    assert burst.period == pytest.approx(100e-6, rel=1e-4, abs=0)
    result = ripple(solve(design, "light"), interval=False)
    assert result.switching_frequency == pytest.approx(10e3, rel=1e-4, abs=0)
    assert result.figures["terminals", "20MHz"].peak_to_peak == pytest.approx(107.4e-3, rel=0.03, abs=0)
    with pytest.raises(FilterlibError, match="a recorded converter is not written"):
        design_toml(design)


@pytest.mark.parametrize(
    ("change", "taken", "words"),
    [
        (("bursts.csv", "none.csv"), {}, "burst"),
        (
            ('recording = "bursts.csv"', 'recording = "bursts.csv"\npulses = 3'),
            {},
            "converter.burst.pulses = 3: the recording says it",
        ),
        (("", ""), {"pulses": 1, "noise": 0.2e-3}, "no evenly spaced bursts are in it: one period"),
        (('recording = "bursts.csv"', ""), {}, "converter.burst.pulses: missing"),
    ],
)
def test_a_burst_that_cannot_be_read_is_refused_by_its_key(tmp_path, change, taken, words):
    with pytest.raises(InputError, match=words):
        load_design(with_bursts(tmp_path, into_a_bank(**taken), BANK.replace(*change)))


def test_too_few_samples_are_said(tmp_path):
    """hand: every tenth sample of 10 ns apart is one each 100 ns: harmonics to 0.4 / 100 ns = 4 MHz, of 20 MHz that were asked."""
    head, *samples = RECORDING.read_text(encoding="utf-8").split("\nCH1")
    name, *volts = samples[0].splitlines()
    interval = "Sample interval;10;ns"
    sparse = head.replace(interval, "Sample interval;100;ns")
    (tmp_path / "sparse.csv").write_text("\n".join([f"{sparse}\nCH1{name}", *volts[::10]]), encoding="utf-8")
    design = load_design(written(tmp_path, 'recording = "sparse.csv"'))
    assert design.converter.ripple.recording.reach < 4.5e6
    assert any("sparse.csv has too few samples" in text for text in trust(review(design)))
    assert any("too few samples" in text for text in measure(load_recording(tmp_path / "sparse.csv")).remarks)
    whole = load_design(written(tmp_path, f'recording = "{RECORDING}"'))
    assert not any("too few samples" in text for text in trust(review(whole)))


def test_a_burst_that_was_taken_in_another_bandwidth_is_brought_to_that_of_the_ripple(tmp_path):
    """Hand: at 300 kHz 2 MHz leave 1/sqrt(1.0225) and 20 MHz 1/sqrt(1.000225): what was behind 2 MHz is 1.0111 times as high behind 20."""
    narrow = BANK.replace('recording = "bursts.csv"', 'recording = { file = "bursts.csv", bandwidth = "2 MHz" }')
    as_it_is, brought = (
        load_design(with_bursts(tmp_path, into_a_bank(noise=0.01e-3), text)).converter.burst.recording
        for text in (BANK, narrow)
    )
    size = abs(brought.harmonics[29] / as_it_is.harmonics[29])  # 30 times 10 kHz
    assert size == pytest.approx(np.sqrt(1.0225 / 1.000225), rel=1e-4, abs=0)


@pytest.mark.parametrize("periods", [0.5, 1.1, 1.5, 2.5])
def test_a_recording_shorter_than_two_of_the_stated_periods_is_refused_by_its_name(tmp_path, periods):
    """Found by damaged files: it was averaged over the stated period, of which there was no whole one."""
    rows = RECORDING.read_text(encoding="utf-8").splitlines()
    (tmp_path / "short.csv").write_text("\n".join(rows[: 8 + round(periods * 555)]), encoding="utf-8")  # hand: 5.55 µs
    with pytest.raises(InputError, match=r"converter.ripple.recording .*no ripple can be taken from it"):
        load_design(written(tmp_path, 'recording = "short.csv"'))
