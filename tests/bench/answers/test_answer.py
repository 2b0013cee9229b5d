"""A built board beside its design: captures and readings in, outcomes and faults out."""

from dataclasses import replace

import numpy as np
import pytest

import filterlib
from filterlib.analysis.ripple.spectra import spectra
from filterlib.bench.answers import learned
from filterlib.bench.answers.answer import bench, judged
from filterlib.bench.answers.answers_result import Answer, BenchResult, Capture, Taken
from filterlib.bench.answers.explanation import explain
from filterlib.bench.answers.faults import faults, with_fault
from filterlib.bench.answers.learned import both_ranges, learn, learned_text
from filterlib.bench.answers.loads import as_taken, bare_ripple
from filterlib.bench.answers.one_board import Board, one_board
from filterlib.bench.answers.readings_file import read_readings, readings_text
from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.bench.answers.scope_view import scope_views
from filterlib.bench.answers.spectrum_answer import spectrum_answer
from filterlib.bench.answers.stations import named_station
from filterlib.bench.answers.trials import trials, tried
from filterlib.errors import FilterlibError, InputError
from filterlib.parts.tables import data_folder
from filterlib.system.file.kept import kept_file
from filterlib.system.file.writing import kept_text
from filterlib.system.solution import solve
from filterlib.words.bench.answer_sentences import explanation_words, outcome_words
from tests.reviews import reviewed

CLEAN = data_folder() / "designs" / "tide-gauge-clean.toml"
RECORDINGS = data_folder() / "recordings"


@pytest.fixture(scope="module")
def answered():
    return bench(
        CLEAN,
        before=str(RECORDINGS / "clean-terminals.csv"),
        after=[Capture(str(RECORDINGS / "clean-modem.csv"))],
        readings=["logger 20MHz 60 mV"],
    )


def test_captures_of_the_demo_agree_and_a_wrong_figure_does_not(answered):
    """The recordings are made by circuits that share nothing with the library."""
    bare, modem, logger = answered.answers
    assert [one.outcome for one in answered.answers] == ["agrees", "agrees", "does not agree"]
    assert bare.expected == pytest.approx(0.11, rel=1e-9, abs=0)
    assert modem.station.name == "modem 20MHz transmitting"
    assert logger.times > 2
    assert answered.exit_code == 1


def test_attenuation_of_the_first_harmonic(answered):
    """Its reading is within the probable range, a little widened; before and after are those of the captures."""
    found = answered.spectra[0]
    assert found.frequencies[0] == pytest.approx(180e3, rel=0.01, abs=0)
    assert found.before[0] == pytest.approx(0.056, rel=0.02, abs=0)
    assert 0.8 * found.expected_low[0] < found.after[0] < 1.25 * found.expected_high[0]
    assert found.attenuation[0] == pytest.approx(20 * np.log10(found.before[0] / found.after[0]), rel=1e-9, abs=0)
    assert not found.clear.all()


@pytest.mark.parametrize("count", [1, 4])
def test_a_clear_harmonic_is_as_uncertain_as_gain_and_repetition(answered, count):
    """hand: far above the noise 1.96 times gain and repeatability together; of four captures the mean repeats twice as well."""
    station, (measured, *_) = answered.captures[0]
    scope, ripples = replace(answered.scope, repeatability=0.2), answered.ripples[station.point]
    found = spectrum_answer(answered.design, station, [measured] * count, answered.before, ripples, scope)
    share = np.hypot(scope.spread, 0.2 / np.sqrt(count))
    assert found.after_high[0] / found.after[0] - 1 == pytest.approx(1.96 * share, rel=0.02, abs=0)
    assert 1 - found.after_low[0] / found.after[0] == pytest.approx(1.96 * share, rel=0.02, abs=0)


def test_a_board_on_the_panel_is_shown_over_one_period(answered):
    """hand: from 0 to just short of a period; as designed, the harmonics expected are those of the bench's answer."""
    found, lines = one_board(Board(answered)), answered.spectra[0]
    assert found.times[0] == 0
    assert found.times[-1] == pytest.approx((1 - 1 / found.times.size) / 180e3, rel=0.01, abs=0)
    assert np.ptp(found.read) == pytest.approx(found.pp, rel=0.2, abs=0)
    assert found.peaks_expected == pytest.approx(lines.expected, rel=1e-6, abs=0)


def board(answered: BenchResult, fault, places=("terminals", "modem", "logger")) -> BenchResult:
    """What the bench would have answered at a board with a fault, of nominal values, without noise."""
    design = with_fault(answered.design, fault)
    point = answered.design.operating_points[0].name
    there = spectra(solve(design, point))
    old = answered.answers[1]
    answers: list[Answer] = []
    for place in places:
        station = named_station(answered.design, place, point)
        volts = fault.factor * float(np.ravel(there.peak_to_peak(place, station.band))[0])
        reading = replace(old.reading, value=volts, shown=volts, low=0.95 * volts, high=1.05 * volts)
        figure, extent = (
            getattr(answered.ripples[point], held)[place, station.band.label] for held in ("figures", "extents")
        )
        ends = figure.peak_to_peak, figure.probable_low, figure.probable_high
        answers.append(judged(station, reading, *ends, extent.plausible))
    lines = answered.spectra[0]
    peaks = fault.factor * 2 * np.abs(there.whole("modem"))
    after = peaks[np.rint(lines.frequencies / there.frequencies[0]).astype(int) - 1]
    floor = 1e-6
    seen = replace(
        lines, after=after, after_low=np.maximum(after * 0.97 - floor, 0), after_high=after * 1.03 + floor, clear=after > 2 * floor
    )  # fmt: skip
    return replace(answered, answers=tuple(answers), spectra=(seen,))


@pytest.fixture(scope="module")
def known(answered):
    return trials(answered)


def test_a_sound_board_is_told_so(answered, known):
    found = explain(board(answered, next(faults(answered.design))), known)
    assert found.sound
    assert sum(one.likely for one in found.ranked) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(
    ("kind", "part"),
    [
        ("larger value", "C1"),
        ("factor too high", ""),
        ("shorted", "L1"),
        ("larger value", "C2"),
        ("smaller value", "C2"),
    ],
)
def test_a_fault_is_ranked_first_or_second(answered, known, kind, part):
    fault = next(one for one in faults(answered.design) if (one.kind, one.part) == (kind, part))
    found = explain(board(answered, fault), known)
    assert not found.sound
    assert (kind, part) in [(one.fault.kind, one.fault.part) for one in found.ranked[:2]]


def test_most_faults_are_ranked_first_or_second_with_three_places_read_in_20_mhz(answered, known):
    """Of all 24 that this board can have, also those that move no reading: its chassis carries nothing, so that its choke's inductance and
    the scope's limit are not seen; `tests.benchmarks.answers` counts what more captures find."""
    found = 0
    for fault in (one.fault for one in known[1:]):
        why = explain(board(answered, fault), known)
        found += any(
            (fault.kind, fault.part) == (one.kind, one.part) for first in why.ranked[:2] for one in first.faults
        )
    assert len(known) == 25
    assert found >= 17  # pin


def test_faults_that_ask_for_the_same_are_one_explanation_where_readings_do_not_tell_them_apart(answered, known):
    """Nothing drives the clean unit's chassis, so its choke's inductance shows nowhere: ten times or a tenth, the choke is measured."""
    sound = explain(board(answered, next(faults(answered.design))), known)
    both = next(one for one in sound.ranked if one.fault.part == "L1" and one.others)
    assert {one.kind for one in both.faults} == {"smaller value", "larger value"}
    assert explanation_words(both).count(", or ") == 1
    assert sum(one.likely for one in sound.ranked) == pytest.approx(1.0, abs=1e-9)
    told = explain(
        board(answered, next(one for one in faults(answered.design) if (one.kind, one.part) == ("larger value", "C2"))),
        known,
    )
    assert not told.ranked[0].others  # ten times C2's value is told from a tenth


def test_the_fault_of_the_invented_board_is_found():
    """Links across the choke, in a circuit that shares nothing with the library."""
    found = bench(
        CLEAN, before=str(RECORDINGS / "clean-terminals.csv"), after=[Capture(str(RECORDINGS / "clean-modem-bridged.csv"))]
    )  # fmt: skip
    assert found.answers[1].outcome == "does not agree"
    best = explain(found).ranked[0]
    assert (best.fault.kind, best.fault.part, best.explains) == ("shorted", "L1", True)


def test_a_reversed_winding_leaves_the_leakage_and_more(answered):
    """Physics: the core is saturated by the load's current and the leakage is as it was, so a loaded board shows little of it."""
    fault = next(one for one in faults(answered.design) if one.kind == "winding reversed")
    design = with_fault(answered.design, fault)
    point = answered.design.operating_points[0].name
    band = answered.answers[1].station.band
    sound, wrong = (
        float(np.ravel(spectra(solve(d, point)).peak_to_peak("modem", band))[0]) for d in (answered.design, design)
    )
    assert 0.5 * sound < wrong < sound


BRICK = CLEAN.with_name("tide-gauge-brick.toml")


@pytest.fixture(scope="module")
def read_brick():
    captures = [str(RECORDINGS / f"brick-{place}.csv") for place in ("terminals", "modem")]
    return bench(BRICK, before=captures[0], after=[Capture(captures[1])])


def test_faults_of_scope_and_chassis_are_tried_where_they_can_be(answered, read_brick):
    """Physics: an earthed clip at the logger carries the brick's common-mode current; nothing drives the clean unit's chassis."""
    clean, brick = ({(one.kind, one.part): one for one in faults(each.design)} for each in (answered, read_brick))
    assert ("clip", "") not in clean
    assert ("ground lead", "") in clean
    assert ("bonded twice", "logger") in brick
    assert ("bonded twice", "modem") not in brick  # it has its bond
    sound, earthed, bursting = (tried(read_brick, brick[kind, ""], 4) for kind in ("as designed", "clip", "bursts"))
    assert bursting is None  # full load is no load at which it may burst
    station = "logger 20MHz transmitting"
    assert np.median(earthed.figures[station]) > 2 * np.median(sound.figures[station])


def test_a_limit_left_on_takes_the_spike_from_readings_in_full_bandwidth(read_brick):
    """Law: what is read in full bandwidth is then what 20 MHz shows, and readings in 20 MHz are as they were."""
    brick = {one.kind: one for one in faults(read_brick.design)}
    sound, limited = (tried(read_brick, brick[kind], 4).figures for kind in ("as designed", "limit on"))
    full, narrow = "modem full transmitting", "modem 20MHz transmitting"
    assert limited[full] == pytest.approx(sound[narrow], rel=1e-9, abs=0)
    assert limited[narrow] == pytest.approx(sound[narrow], rel=1e-9, abs=0)
    assert np.all(sound[full] > 1.2 * sound[narrow])


def test_trials_of_one_result_explain_another(answered, known):
    """Law: they depend on the design and the stations alone."""
    other = board(answered, next(one for one in faults(answered.design) if one.kind == "shorted"))
    kinds = [
        [(e.fault.kind, e.fault.part, e.likely) for e in one.ranked] for one in (explain(other, known), explain(other))
    ]
    assert kinds[0] == kinds[1]


def test_what_is_learned_is_inside_what_was_known_and_comes_back_as_a_design(tmp_path, read_brick, monkeypatch):
    """One capture behind the filter narrows little of the brick: a twentieth has to do."""
    monkeypatch.setattr(learned, "NARROWER", 0.95)
    brick, answered = BRICK, read_brick
    assert [one.outcome for one in answered.answers] == ["agrees", "agrees"]  # the invented board has no fault
    both = both_ranges(answered)
    found = both.learned
    assert found.cases >= 20
    assert found.narrowed
    for one in found.narrowed:
        assert one.before_low <= one.low <= one.value <= one.high <= one.before_high
    file = tmp_path / "learned.toml"
    file.write_text(learned_text(brick, both, ["a.csv"]), encoding="utf-8")
    first = found.narrowed[0]
    again = filterlib.load_design(file)
    assert filterlib.value(again, first.key) == pytest.approx(first.value, rel=1e-9, abs=0)
    assert f"# {first.key}: narrowed by a.csv" in file.read_text(encoding="utf-8")
    assert "# transistor, insulating pad, heat sink" in file.read_text(encoding="utf-8")


def test_nothing_is_learned_of_readings_that_are_not_behind_the_filter():
    with pytest.raises(FilterlibError, match="no reading behind"):
        learn(bench(CLEAN, readings=["terminals 20MHz bare 108 mV"]))


def test_readings_that_nothing_explains_are_said_so(answered, known):
    """A hundred times too much at one load, a hundredth at the other."""
    sound = board(answered, next(faults(answered.design)))
    odd = [
        replace(one, reading=replace(one.reading, value=f * one.reading.value, low=f * one.reading.low, high=f * one.reading.high))
        for one, f in zip(sound.answers, (1.0, 100.0, 0.01), strict=True)
    ]  # fmt: skip
    assert not any(one.explains for one in explain(replace(sound, answers=tuple(odd)), known).ranked)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({}, "nothing to compare"),
        ({"readings": ["modem 4.8 mV"]}, "the band is needed"),
        ({"readings": ["moden 20MHz 4.8 mV"]}, 'did you mean "modem"'),
        ({"readings": ["modem 20MHz much"]}, "much"),
        ({"readings": ["modem 20MHz -3 mV"]}, "0"),
        ({"after": [Capture(str(RECORDINGS / "clean-modem.csv"), "antenna")]}, 'no place "antenna"'),
    ],
)
def test_what_cannot_be_compared_is_said(options, words):
    with pytest.raises(FilterlibError, match=words):
        bench(CLEAN, **options)


def test_full_bandwidth_cannot_tell_where_no_spike_is_stated():
    """More may be spikes that nobody stated; less than the ripple cannot be, whatever they are."""
    found = bench(CLEAN, readings=["modem full 40 mV", "logger full 0.1 mV"])
    more, less = found.answers
    assert (more.outcome, more.why) == ("cannot tell", "spike")
    assert less.outcome == "does not agree"
    assert [one.station.place for one in found.behind] == ["logger"]
    assert "states no spike" in outcome_words(more)


def test_captures_of_different_converters_are_refused():
    with pytest.raises(InputError, match="captures of one converter"):
        bench(
            CLEAN, before=str(RECORDINGS / "clean-terminals.csv"), after=[Capture(str(RECORDINGS / "brick-modem.csv"))]
        )


def test_the_readings_file_comes_back_as_it_was_filled_in(tmp_path):
    text = readings_text([("modem 20MHz listening", "2 to 5 mV"), ("logger full listening", "1 to 2 mV")])
    file = tmp_path / "readings.toml"
    file.write_text(
        text.replace('listening" = ""', 'listening" = "4.8 mV"', 1).replace('# gain = "3 %"', 'gain = "1 %"')
    )
    lines, scope = read_readings(file)
    assert lines == ("modem 20MHz listening 4.8 mV",)
    assert scope.gain == pytest.approx(0.01, rel=1e-9, abs=0)
    file.write_text('[readings]\n"modem 20MHz" = ["4.8 mV", "5 mV"]\n[scope]\naverages = 16\njitter = "2 ns"\n')
    lines, scope = read_readings(file)
    assert lines == ("modem 20MHz 4.8 mV", "modem 20MHz 5 mV")
    assert (scope.averages, scope.jitter) == (16, 2e-9)
    file.write_text('[readings]\n"modem 20MHz" = 4\n[scope]\ngrain = 1\nprobe_gain = "x"\n[more]\n')
    with pytest.raises(InputError) as refused:
        read_readings(file)
    assert "more" in str(refused.value)
    file.write_text('[readings]\n"modem 20MHz" = 4\n[scope]\ngrain = 1\nprobe_gain = "x"\n')
    with pytest.raises(InputError) as refused:
        read_readings(file)
    assert len(refused.value.problems) == 3


@pytest.mark.parametrize(
    "line",
    [
        "lead = 0",
        "averages = 0",
        "probe = 0",
        'capacitance = "0 F"',
        "gain = 500",
        'noise = "1 kV"',
        'full_scale = "1e-300 V"',
    ],
)
def test_a_scope_that_cannot_be_is_refused_by_its_key(line, tmp_path):
    """A ground lead of no length resonates nowhere, and ended in a traceback; the others were taken."""
    file = tmp_path / "readings.toml"
    file.write_text(f'[readings]\n"modem 20MHz" = "4.8 mV"\n[scope]\n{line}\n', encoding="utf-8")
    with pytest.raises(InputError, match=rf"readings\.toml: scope\.{line.split()[0]} = .* must not be (below|above)"):
        read_readings(file)


def test_a_filled_in_readings_file_is_not_touched(tmp_path):
    sheet = filterlib.bench_sheet(reviewed("clean").result)
    from filterlib.show.verify import write_sheet

    write_sheet(sheet, tmp_path / "sheet")
    file = tmp_path / "sheet" / "readings.toml"
    assert "modem 20MHz transmitting" in file.read_text()
    file.write_text("mine")
    write_sheet(sheet, tmp_path / "sheet")
    assert file.read_text() == "mine"


def test_a_capture_that_is_all_noise_cannot_tell_unless_even_that_is_too_little(tmp_path):
    """Noise of 1 mV rms, some 8 mV peak to peak: 4 mV may be in it, 0.2 V at the bridged board's place would not."""
    text = (RECORDINGS / "clean-modem.csv").read_text(encoding="utf-8")
    head = text[: text.index("CH1 [mV]")]
    rows = np.random.default_rng(2).normal(0, 1, 20_000)
    file = tmp_path / "noise.csv"
    file.write_text(head + "CH1 [mV]\n" + "\n".join(f"{v:.3f}".replace(".", ",") for v in rows), encoding="utf-8")
    found = bench(
        CLEAN,
        before=str(RECORDINGS / "clean-terminals.csv"),
        after=[Capture(str(file)), Capture(str(file), "terminals")],
    )
    _, modem, terminals = found.answers
    assert (modem.outcome, modem.why) == ("cannot tell", "noise")
    assert terminals.outcome == "does not agree"  # more than 90 mV are expected there
    assert not found.spectra


def test_a_figure_at_another_load_is_brought_there_or_refused():
    """The clean converter's triangle does not grow with the load; without a load, and on another input, nothing is brought."""
    found = bench(CLEAN, readings=["terminals 20MHz bare 108 mV at 2 A", "modem 20MHz 4.3 mV at 2.5 A"])
    bare, modem = found.answers
    assert bare.expected == pytest.approx(0.11, rel=0.02, abs=0)
    assert modem.station.point == "transmitting at 2.5 A"
    assert modem.outcome == "agrees"
    with pytest.raises(FilterlibError, match="too far to bring"):
        bench(CLEAN, readings=["modem 20MHz 4.3 mV at 0.1 A"])
    with pytest.raises(FilterlibError, match="skip pulses"):
        bench(CLEAN, before=str(RECORDINGS / "clean-terminals.csv"), before_taken=Taken(0.1))


def test_a_pulse_grows_with_the_load():
    """Physics: the brick's diode carries the load's current, so half of that makes half of the ripple, but for what the load itself
    takes of it; spikes and what the chassis carries are taken to stay."""
    brick = filterlib.load_design(CLEAN.with_name("tide-gauge-brick.toml"))
    smooth = brick.replace(converter=brick.converter.model_copy(update={"spike": None, "common_mode": None}))
    half, *_ = bare_ripple(smooth, Taken(1.8))
    assert half == pytest.approx(0.375, rel=0.05, abs=0)
    assert bare_ripple(brick, Taken(1.8))[0] > half


def test_the_file_of_a_capture_says_its_load_and_input(tmp_path):
    text = (RECORDINGS / "clean-modem.csv").read_text(encoding="utf-8")
    file = tmp_path / "one.csv"
    file.write_text(
        text.replace("Coupling;AC", "Coupling;AC\nLoad current;1,8 A\nInput voltage;48 V"), encoding="utf-8"
    )
    recording = filterlib.load_recording(file)
    assert (recording.load_current, recording.input_voltage) == (1.8, 48.0)
    assert as_taken(recording) == Taken(1.8, 48.0)
    with pytest.raises(FilterlibError, match=r"1\.8 A in the file, and 3 A is stated"):
        as_taken(recording, 3.0)
    with pytest.raises(FilterlibError, match="taken at an input of 48 V"):
        bench(CLEAN.with_name("tide-gauge-brick.toml"), after=[Capture(str(file))])


def test_what_a_scope_would_show_beside_what_is_there():
    """Hand: 15 cm at 1x are 135 nH and 100 pF behind 50 ohm, Q = 0.735 at 43.3 MHz; nothing drives the clean unit's chassis."""
    design = filterlib.load_design(CLEAN)
    station = named_station(design, "modem", "listening")
    scope = ScopeErrors(probe=1.0, lead=(0.01, 0.3))
    found = scope_views(design, [station], scope)[0]
    assert found.there == pytest.approx(4.91e-3, rel=0.01, abs=0)  # as the review
    assert found.short == pytest.approx(found.there, rel=0.01, abs=0)
    assert found.clipped == pytest.approx(found.there, rel=1e-3, abs=0)
    assert not found.fooled
    wave = ScopeErrors(probe=1.0).response(np.array([20e6]), 0.15)[0]
    x = 20 / 43.32
    assert abs(wave) == pytest.approx(1 / np.hypot(1 - x**2, x / 0.735), rel=2e-3, abs=0)


def test_a_converter_is_kept_and_used_in_another_design(read_brick, tmp_path, monkeypatch):
    """Law: a design whose converter is named reads what that design reads whose file states it."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    kept_file("brick").parent.mkdir(parents=True)
    kept_file("brick").write_text(kept_text(read_brick.stated, ["kept"]), encoding="utf-8")
    text = BRICK.read_text(encoding="utf-8")
    start, end = text.index("[converter]"), text.index("[[filter]]")
    file = tmp_path / "other.toml"
    file.write_text(f'{text[:start]}[converter]\nkept = "brick"\nname = "Mine"\n\n{text[end:]}', encoding="utf-8")
    other = filterlib.load_design(file)
    assert other.converter.name == "Mine"
    point = other.operating_points[0].name
    band = read_brick.answers[1].station.band
    two = [
        float(spectra(solve(one, point)).peak_to_peak("logger", band)) for one in (other, filterlib.load_design(BRICK))
    ]
    assert two[0] == pytest.approx(two[1], rel=1e-6, abs=0)
    file.write_text(file.read_text().replace('"brick"', '"brik"'), encoding="utf-8")
    with pytest.raises(InputError, match='did you mean "brick"'):
        filterlib.load_design(file)
    with pytest.raises(FilterlibError, match="recorded"):
        kept_text(read_brick.design, [])
