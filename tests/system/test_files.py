"""Design files: the demonstration, parts by name and in place, tables of one's own, and the note on the keys."""

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.ripple.ripple import ripple
from filterlib.errors import InputError
from filterlib.parts.base import Part
from filterlib.parts.tables import data_folder
from filterlib.show.keys.key_sections import key_sections
from filterlib.system.inside.converter import Converter
from filterlib.system.solution import solve

NOTE = data_folder() / "designs" / "README.md"
MINE = """
title = "drawer"
source = "measured"
[[part]]
name = "brown film"
kind = "film"
capacitance = "1 µF"
tolerance = "10 %"
rated_voltage = "63 V"
loss_angle = 0.007
esl = "6 nH"
[[part]]
name = "bell wire"
kind = "wire_pair"
length = "3 m"
awg = 22
spacing = "2 mm"
"""
DESIGN = """
name = "mine"
tables = ["drawer.toml"]
[converter]
name = "Tarn"
output_voltage = "28 V"
switching_frequency = "180 kHz"
ripple = { peak_to_peak = "200 mV" }
[[filter]]
kind = "capacitor"
part = "brown film"
[[load]]
name = "modem"
kind = "resistive"
resistance = "14 ohm"
lead = "bell wire"
"""


@pytest.fixture
def written(tmp_path):
    def write(text=DESIGN, **tables):
        for name, content in tables.items():
            (tmp_path / f"{name}.toml").write_text(content, encoding="utf-8")
        path = tmp_path / "design.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def refused(path):
    with pytest.raises(InputError) as caught:
        load_design(path)
    return [(problem.file, problem.key, problem.why) for problem in caught.value.problems]


def test_both_demonstrations_are_the_same_filter_on_two_converters():
    clean, brick = (load_design(data_folder() / "designs" / f"tide-gauge-{name}.toml") for name in ("clean", "brick"))
    assert clean.filter == brick.filter
    assert [load.name for load in clean.loads] == [load.name for load in brick.loads] == ["modem", "logger"]
    assert clean.converter.ripple.peak_to_peak == pytest.approx(0.11, rel=1e-12, abs=0)
    assert brick.converter.spike is not None
    for one in (clean, brick):
        assert all(isinstance(stage.part, Part) for stage in one.filter)
        for point in one.operating_points:
            state = one.state(point.name)
            assert 26 < state.load_voltages["modem"] < 28
            assert np.all(np.isfinite(one.circuit(state).transfer([1e5], "ripple", "load_plus")))


def test_parts_come_from_ones_own_table_beside_the_file(written, monkeypatch):
    path = written(drawer=MINE)
    monkeypatch.chdir(path.parent.parent)  # not looked for where the program runs
    one = load_design(path.relative_to(path.parent.parent))
    assert one.filter[0].part.capacitance == pytest.approx(1e-6, rel=1e-12, abs=0)
    assert one.loads[0].lead.name == "bell wire"


def test_a_part_written_in_place_is_the_same_as_by_name(written):
    in_place = '{ kind = "film", capacitance = "1 µF", tolerance = "10 %", rated_voltage = "63 V", loss_angle = 0.007, esl = "6 nH" }'
    by_name = load_design(written(drawer=MINE)).filter[0].part
    given = load_design(written(DESIGN.replace('"brown film"', in_place), drawer=MINE)).filter[0].part
    assert given.replace(name="brown film") == by_name


def test_a_table_that_is_missing_is_a_problem_of_the_design_file_and_nothing_follows_from_it(written):
    path = written()
    ((file, key, why),) = refused(path)
    assert (file, key, why) == (str(path), "tables[1]", "no such file")


def test_a_wrong_table_is_named_with_its_own_place_together_with_the_design_files_mistakes(written):
    path = written(DESIGN.replace("14 ohm", "14 V"), drawer=MINE.replace("6 nH", "6 nF"))
    assert [(file, key) for file, key, _ in refused(path)] == [
        (str(path.parent / "drawer.toml"), 'part "brown film".esl'),
        (str(path), "load[1].resistance"),
    ]


def test_a_part_of_a_table_that_is_also_ours_is_refused(written):
    path = written(drawer=MINE.replace("brown film", "film-1u0-63V"))
    assert any("used before" in why for _, _, why in refused(path))


@pytest.mark.parametrize(
    ("given", "key"), [('"drawer.toml"', "tables"), ("[1]", "tables[1]"), ('["\\u0000"]', "tables[1]")]
)
def test_tables_are_a_list_of_file_names(written, given, key):
    path = written(DESIGN.replace('["drawer.toml"]', given), drawer=MINE)
    assert key in [found for _, found, _ in refused(path)]


@pytest.mark.parametrize(
    ("part", "words"),
    [
        ('"brown flim"', 'did you mean "brown film"'),
        ('"bell wire"', "a capacitor is needed here"),
        ('{ kind = "lead", length = "1 m", awg = 20 }', "a capacitor is needed here"),
        ('{ kind = "flim" }', 'did you mean "film"'),
        ("{}", "missing: a capacitor is needed"),
        ("5", "name of a capacitor is needed here, in quotes"),
        ('["brown film"]', "name of a capacitor is needed here, in quotes"),
        (f'"{"x" * 5000}"', "name of a capacitor is needed here, in quotes"),
    ],
)
def test_a_part_that_is_none_gets_one_message_with_what_would_be_right(written, part, words):
    ((_, key, why),) = refused(written(DESIGN.replace('part = "brown film"', f"part = {part}"), drawer=MINE))
    assert key.startswith("filter[1].part")
    assert words in why
    assert len(why) < 2000


# ---- limits of emission -------------------------------------------------------------------------------------------
ASKS = """
[[emission]]
side = "{side}"
limits = [{limits}]
"""
LIMIT = """
title = "Harbour board (invented)"
source = "invented"
[[piece]]
detector = "average"
frequencies = ["150 kHz", "30 MHz"]
levels = [60, {level}]
"""


def asking(limits, side="output"):
    own = DESIGN.replace('tables = ["drawer.toml"]', "").replace("brown film", "class2-2u2-50V-1206")
    return own.replace('lead = "bell wire"', "") + ASKS.format(side=side, limits=limits)


def test_what_is_wrong_in_a_limit_file_is_said_with_its_name(written):
    path = written(asking('"own.toml"'), own=LIMIT.format(level='"sixty"'))
    ((file, key, why),) = refused(path)
    assert file.endswith("own.toml")
    assert key == "piece[1].levels[2]"
    assert "number" in why


def test_a_limit_file_must_not_take_the_name_of_another(written):
    path = written(asking('"mains-class-b.toml"'), **{"mains-class-b": LIMIT.format(level=50)})
    ((file, key, why),) = refused(path)
    assert (file, key) == (str(path), "emission[1].limits[1]")
    assert "is taken by a limit that comes with the library" in why


@pytest.mark.parametrize("known", [[], ["input_voltage"], ["ripple_current"], ["triangle"]])
def test_emission_at_the_input_needs_its_voltage_or_its_current(written, known):
    text = asking('"mains-class-b"', side="input")
    changes = {
        "input_voltage": ("output_voltage =", 'input_voltage = "24 V"\noutput_voltage ='),
        "ripple_current": ("[[emission]]", '[input_side]\nripple_current = "1 A"\n[[emission]]'),
        "triangle": ("output_voltage =", 'shape = "triangle"\noutput_voltage ='),
    }
    for one in known:
        text = text.replace(*changes[one])
    if known:
        assert load_design(written(text)).emissions[0].side == "input"
    else:
        ((_, key, why),) = refused(written(text))
        assert key == "converter.input_voltage"
        assert "emission at the input" in why


# ---- the note on the keys -----------------------------------------------------------------------------------------


def test_the_defaults_that_follow_from_others_are_what_the_note_says():
    """hand: the three sentences below the converter's table."""
    note = {section.title: section.more for section in key_sections()}["`[converter]`"]
    assert "45 % (15 % to 85 %)" in note
    assert "30 ns (8 ns to 90 ns), shorter where the period is below 450 ns" in note
    assert "a twentieth of the switching frequency (a fiftieth to an eighth)" in note

    def left(frequency, **more):
        return Converter(name="x", output_voltage=28, switching_frequency=frequency, ripple={"peak_to_peak": 1}, **more)

    one = left(1e5)
    assert (one.duty.value, one.duty.low, one.duty.high) == (0.45, 0.15, 0.85)
    assert (one.edge_time.value, one.edge_time.low, one.edge_time.high) == pytest.approx(
        (30e-9, 8e-9, 90e-9), rel=1e-12, abs=0
    )
    loop = one.loop_bandwidth
    assert (loop.value, loop.low, loop.high) == pytest.approx((5e3, 2e3, 12.5e3), rel=1e-12, abs=0)
    assert left(2.2e6).edge_time.high == pytest.approx(90e-9, rel=1e-12, abs=0)  # 455 ns
    assert left(2.3e6).edge_time.high < 89e-9  # 435 ns
    stepped = left(1e5, input_voltage=24).duty
    assert (stepped.value, stepped.high - stepped.value) == pytest.approx((1 - 24 / 28, 0.05), rel=1e-12, abs=0)


def test_the_smallest_design_file_gives_a_band(written):
    example = NOTE.read_text(encoding="utf-8").split("```toml\n")[1].split("```")[0]
    one = load_design(written(example))
    found = ripple(solve(one))
    seen = found.figures["modem", "20MHz"]
    assert 0 < seen.low < seen.peak_to_peak < seen.high
    assert found.uncertain_parameters


def test_every_demonstration_is_named_in_the_note():
    for path in (data_folder() / "designs").glob("*.toml"):
        assert path.name in NOTE.read_text(encoding="utf-8")
