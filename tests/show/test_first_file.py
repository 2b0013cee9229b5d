"""`filterlib new`: what a person says of a converter and a filter becomes a design file that review takes as it is."""

import json
import sys
import tomllib

import jsonschema
import pytest

import filterlib
from filterlib import cli
from filterlib.errors import FilterlibError
from filterlib.parts.capacitor import Capacitor
from filterlib.show.first_file.answers import QUESTIONS
from filterlib.show.first_file.spoken_parts import load_of, part_of, parts_of

SAID = {
    "kind": "boost", "input-voltage": "12V", "output-voltage": "19V", "frequency": "150khz", "current": "3A",
    "ripple": "300 mVpp", "bandwidth": "20MHz", "spike": "0.9V", "filter": "1 µF film + 2 x 1 mH + 1 µF", "load": "35W",
    "load-capacitor": "470uF", "limit": "30mV",
}  # fmt: skip


def new(name="boost", **changes):
    said = {key: value for key, value in (SAID | changes).items() if value}
    return cli.main(["new", name, *(word for key, value in said.items() for word in (f"--{key}", value))])


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_what_was_said_is_what_the_file_holds(folder, capsys):
    """hand: each figure as it was said; the rest is what the parts' kinds usually have, or a default."""
    assert new() == 0
    assert "Next: filterlib review boost.toml --out boost-review" in capsys.readouterr().out
    assert (folder / "boost.toml").read_text(encoding="utf-8").startswith("#:schema ./filter-design.schema.json\n")
    written = json.loads((folder / "filter-design.schema.json").read_text(encoding="utf-8"))
    raw = tomllib.loads((folder / "boost.toml").read_text(encoding="utf-8"))
    assert list(jsonschema.Draft202012Validator(written).iter_errors(raw)) == []
    design = filterlib.load_design("boost.toml")
    converter, (first, choke, second), (load,) = design.converter, design.filter, design.loads
    assert (converter.input_voltage, converter.output_voltage, converter.switching_frequency) == (12.0, 19.0, 150e3)
    assert (converter.shape, converter.isolated, converter.spike.peak_to_peak) == ("pulse", False, 0.9)
    assert (converter.ripple.peak_to_peak, converter.ripple.bandwidth, converter.ripple.load_current) == (
        0.3,
        20e6,
        3.0,
    )
    assert [(one.part.kind, one.part.capacitance) for one in (first, second)] == [("film", 1e-6)] * 2
    assert (choke.kind, choke.part.inductance, choke.part.rated_current) == (
        "common_mode_choke",
        1e-3,
        4.7,
    )  # 1.5 x 3 A, E12
    assert (load.kind, load.power, load.input_capacitor.part.capacitance) == ("constant_power", 35.0, 470e-6)
    assert {"esl", "esr", "loss_angle"} <= set(first.part.assumed)
    assert [(one.kind, one.limit) for one in design.requirements] == [("ripple", 30e-3)]


def test_what_is_needed_alone_is_enough_and_no_limit_is_a_tenth(folder):
    assert new(**{key: "" for key in SAID if key not in ("output-voltage", "frequency", "ripple", "load")}) == 0
    design = filterlib.load_design("boost.toml")
    assert (design.filter, design.converter.spike, design.converter.shape) == ((), None, None)
    assert design.requirements[0].limit == pytest.approx(30e-3, rel=1e-12, abs=0)  # hand: a tenth of 300 mV
    assert "not given: a tenth" in (folder / "boost.toml").read_text(encoding="utf-8")


def test_every_line_behind_a_mark_can_be_taken_as_it_is(folder):
    """What the file offers, commented out, is read when the mark is taken away."""
    assert new(kind="", spike="", current="", **{"load-capacitor": ""}) == 0
    lines = (folder / "boost.toml").read_text(encoding="utf-8").splitlines()
    offered = [line.removeprefix("# ") if " = " in line or "[" in line[:3] else line for line in lines[3:]]
    assert sum(before != after for before, after in zip(lines[3:], offered, strict=True)) >= 7
    (folder / "offered.toml").write_text("\n".join(offered), encoding="utf-8")
    design = filterlib.load_design("offered.toml")
    assert design.converter.spike is not None
    assert not design.converter.output_capacitance.known
    assert isinstance(design.loads[0].input_capacitor.part, Capacitor)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"output-voltage": ""}, '--output-voltage: missing: its output voltage, such as --output-voltage "19 V"'),
        ({"ripple": "300 mVrms"}, 'a peak to peak: write it as "300 mV"'),
        ({"load": "35"}, 'a power "35 W", a current "3 A"'),
        ({"filter": "1,5 µF"}, "comma"),
        ({"filter": "1 µF wood"}, '"wood" is not known of a part'),
        ({"filter": "1 µF + 5 V"}, '"5 V" is no part that can be read'),
        ({"kind": "sepic"}, "valid: boost, buck, flyback"),
        ({"frequency": "150"}, "was a prefix forgotten?"),
        ({"spike": "1 mV"}, "--spike = '1 mV': with the spikes the scope shows at least the ripple, 300 mV"),
        ({"input-voltage": "24 V"}, "--output-voltage = '19 V': a step-up converter gives more than its input of 24 V"),
    ],
)
def test_what_cannot_be_is_refused_by_its_option_and_nothing_is_written(folder, capsys, changes, says):
    assert new(**changes) == 2
    assert says in capsys.readouterr().err
    assert list(folder.iterdir()) == []


def test_all_that_is_wrong_is_said_at_once(folder, capsys):
    assert new(ripple="a lot", load="", frequency="1 m") == 2
    lines = capsys.readouterr().err.splitlines()
    assert [line.split(": ")[2].split(" =")[0] for line in lines] == ["--frequency", "--ripple", "--load"]


def test_a_file_that_is_there_stays(folder, capsys):
    (folder / "boost.toml").write_text("mine", encoding="utf-8")
    assert new() == 2
    assert "boost.toml: is there already" in capsys.readouterr().err
    assert (folder / "boost.toml").read_text(encoding="utf-8") == "mine"


def test_on_a_terminal_it_asks_until_an_answer_can_be_read(folder, monkeypatch, capsys):
    spoken = {one.words: SAID.get(one.option.removeprefix("--"), "") for one in QUESTIONS}
    asked = []

    def answer(prompt):
        words = prompt.split(" (such as ")[0]
        asked.append(words)
        return "heaps" if asked.count(words) == 1 and words.startswith("Ripple at") else spoken[words]

    monkeypatch.setattr("builtins.input", answer)
    for stream in (sys.stdin, sys.stdout):
        monkeypatch.setattr(stream, "isatty", lambda: True)
    assert cli.main(["new", "asked", "--load", "35 W"]) == 0
    assert [words for words in spoken if words not in asked] == [
        "What the load draws: a power, a current or a resistance"
    ]
    assert "does not begin with a number" in capsys.readouterr().out
    assert new("given") == 0
    text = (folder / "asked.toml").read_text(encoding="utf-8")
    assert text.replace("asked", "given") == (folder / "given.toml").read_text(encoding="utf-8")


def test_an_end_of_input_writes_nothing(folder, monkeypatch, capsys):
    def gone(prompt):
        raise EOFError

    monkeypatch.setattr("builtins.input", gone)
    for stream in (sys.stdin, sys.stdout):
        monkeypatch.setattr(stream, "isatty", lambda: True)
    assert cli.main(["new", "asked"]) == 130
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize(
    ("text", "stage", "values"),
    [
        ("4u7 ceramic 50 V", "capacitor", ['"ceramic_class_2"', '"4.7 µF"', '"50 V"']),
        ("10 nF C0G 100V", "capacitor", ['"ceramic_class_1"', '"10 nF"', '"100 V"']),
        ("100 µF polymer capacitor 35 V", "capacitor", ['"polymer"', '"100 µF"', '"35 V"']),
        ("470 µF", "capacitor", ['"aluminium"', '"470 µF"', '"35 V"']),  # large, and 1.5 x 19 V
        ("1 µF", "capacitor", ['"ceramic_class_2"', '"1 µF"', '"35 V"']),
        ("10 µH 5 A 20 mohm", "differential_choke", ['"10 µH"', '"5 A"', '"20 mΩ"']),
        ("2x1mH 5A", "common_mode_choke", ['"1 mH"', '"5 A"', '"12 mΩ"']),  # hand: 60 mV at 5 A
        ("common-mode choke 1 mH 5 A 9 mohm", "common_mode_choke", ['"1 mH"', '"5 A"', '"9 mΩ"']),
    ],
)
def test_a_part_in_a_few_words(text, stage, values):
    part = part_of(text, 19.0, 3.0)
    assert (part.stage, [line.value for line in part.lines]) == (stage, values)


def test_a_part_of_the_tables_by_its_name():
    assert [(one.stage, one.name) for one in parts_of("class2-2u2-50V-1206 + cm-1m0-5A", 19.0, 3.0)] == [
        ("capacitor", "class2-2u2-50V-1206"), ("common_mode_choke", "cm-1m0-5A"),
    ]  # fmt: skip


@pytest.mark.parametrize("text", ["", "1 µF 1 mH", "2 x 1 µF", "film", "63 V"])
def test_what_is_no_part_is_refused_with_examples(text):
    with pytest.raises(FilterlibError, match="2 x 1 mH 5 A 15 mohm"):
        part_of(text, 19.0, 3.0)


@pytest.mark.parametrize(("text", "amperes"), [("35 W", 35 / 19), ("3 A", 3.0), ("6 ohm", 19 / 6)])
def test_a_load_by_what_it_draws(text, amperes):
    assert load_of(text).current(19.0) == pytest.approx(amperes, rel=1e-12, abs=0)  # hand


def test_a_spike_that_only_a_steeper_scope_could_have_read_is_taken(folder):
    """hand: 0.9 V of ring at 100 MHz at most reads over 176 mV through 20 MHz of first order; of second order 35 mV."""
    assert new("steep", ripple="150mVpp", spike="0.9Vpp") == 0
    assert filterlib.load_design("steep.toml").converter.ripple.order == 2


def test_a_load_without_a_unit_is_asked_for_it(folder, capsys):
    assert new("plain", load="10k") == 2
    assert 'resistance "6 ohm"' in capsys.readouterr().err
