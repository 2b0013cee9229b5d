"""Tables of parts: ours are complete, a user's is read alike, and what is wrong in one is said with its place."""

import os
import tomllib

import pytest

from filterlib.errors import FilterlibError, InputError
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.reading import LARGEST_FILE, read_toml
from filterlib.parts.tables import (
    KINDS,
    data_folder,
    find_part,
    load_table,
    load_tables,
    part_from,
    standard_tables,
)

GOOD = {
    "film": {
        "kind": "film",
        "capacitance": "1 µF",
        "rated_voltage": "63 V",
        "loss_angle": "0.7 %",
        "esr": "10 mΩ",
        "esl": "6 nH",
        "tolerance": "10 %",
        "temperature_curve": [["-40 °C", 0.98], ["25 °C", 1.0], ["85 °C", 1.02]],
        "safety_class": "X2",
        "maximum_temperature": "105 °C",
        "thermal_resistance": "60 K/W",
        "voltage_derating": "80 %",
        "insulation_time": "5000 s",
        "insulation_resistance": "10 GΩ",
    },
    "aluminium": {
        "kind": "aluminium",
        "capacitance": "100 µF",
        "rated_voltage": "50 V",
        "loss_angle": "5 %",
        "esl": "12 nH",
        "maximum_temperature": "105 °C",
        "rated_life": "5000 h",
        "life_end_esr": 2,
        "life_end_capacitance": "80 %",
        "leakage_factor": "0.01 1/s",
        "leakage_least": "3 µA",
        "ripple_frequency_curve": [["120 Hz", 0.5], ["100 kHz", 1.0]],
        "ripple_temperature_curve": [["85 °C", 1.6], ["105 °C", 1.0]],
    },
    "differential_choke": {
        "kind": "differential_choke",
        "inductance": "10 µH",
        "saturation_current": "6 A",
        "saturation": "hard",
        "rated_current": "5 A",
        "dc_resistance": "20 mΩ",
        "self_resonance": "20 MHz",
        "core_volume": "1150 mm3",
        "core_area": "23 mm2",
        "turns": 37,
        "core_loss": "150 kW/m3",
        "core_loss_frequency": "100 kHz",
        "core_loss_flux": "50 mT",
        "core_frequency_exponent": 1.45,
        "core_flux_exponent": 2.1,
        "thermal_resistance": "60 K/W",
        "temperature_curve": [["-40 °C", 0.98], ["25 °C", 1.0], ["85 °C", 1.02]],
    },
    "common_mode_choke": {
        "kind": "common_mode_choke",
        "inductance": "1 mH",
        "leakage": "10 µH",
        "leakage_measured": "loop",
        "rated_current": "5 A",
        "saturation_current": "100 mA",
        "dc_resistance": "14 mΩ",
        "relaxation_frequency": "1 MHz",
        "winding_capacitance": "10 pF",
    },
    "wire_pair": {"kind": "wire_pair", "length": "2 m", "cross_section": "0.5 mm²", "spacing": "2 mm"},
}
JARGON = ("pydantic", "http", "type=", "Input should", "Traceback", "validation error")


def toml(value):
    """A value as TOML writes it; text that begins with a hash is written as it stands."""
    if isinstance(value, str):
        return value[1:] if value.startswith("#") else '"' + value.replace("\n", "\\n") + '"'
    if isinstance(value, bool):
        return str(value).lower()
    return "[" + ", ".join(map(toml, value)) + "]" if isinstance(value, list) else repr(value)


def table(*parts, head=""):
    return head + "".join(
        "\n[[part]]\n" + "".join(f"{key} = {toml(value)}\n" for key, value in p.items()) for p in parts
    )


def refused(path):
    """The problems of a file that must be refused, in plain words and each with its file."""
    with pytest.raises(InputError) as caught:
        load_table(path)
    assert all(problem.file == str(path) for problem in caught.value.problems)
    assert not any(word in str(caught.value) for word in JARGON)
    return caught.value.problems


@pytest.fixture
def written(tmp_path):
    def write(text):
        path = tmp_path / "mine.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


# ---- ours ---------------------------------------------------------------------------------------------------------


def test_our_tables_hold_enough_of_each_kind_and_every_part_is_marked_invented():
    parts = [part for one in standard_tables() for part in one.values()]
    assert sum(isinstance(part, Capacitor) for part in parts) >= 20
    assert sum(isinstance(part, CommonModeChoke) for part in parts) >= 10
    assert sum(isinstance(part, DifferentialChoke) for part in parts) >= 8
    assert {part.kind for part in parts} >= {"film", "ceramic_class_1", "ceramic_class_2", "aluminium", "polymer"}
    assert all(part.invented for part in parts)
    assert all("invented" in one.source for one in standard_tables())


def test_every_class_2_ceramic_of_ours_states_its_bias_curve_to_its_rated_voltage():
    for one in standard_tables():
        for part in one.values():
            if part.kind == "ceramic_class_2":
                assert part.bias_curve[-1][0] == part.rated_voltage


def test_the_note_beside_the_tables_names_every_file_and_no_other():
    named = (data_folder() / "README.md").read_text(encoding="utf-8")
    for path in (data_folder() / "parts").glob("*.toml"):
        assert f"parts/{path.name}" in named


def test_names_are_found_and_a_name_that_is_not_gets_the_nearest_of_the_right_kind():
    assert find_part("film-1u0-63V", Capacitor, standard_tables()).rated_voltage == 63
    assert find_part("dm-10u-6A", None, standard_tables()).kind == "differential_choke"
    assert find_part("polymer-47u-35V", "polymer", standard_tables()).kind == "polymer"
    with pytest.raises(FilterlibError, match='did you mean "cm-1m0-5A"'):
        find_part("cm-1m0-6A", CommonModeChoke, standard_tables())
    with pytest.raises(FilterlibError, match=r'"dm-10u-6A" is .* a common-mode choke is needed'):
        find_part("dm-10u-6A", CommonModeChoke, standard_tables())
    with pytest.raises(FilterlibError, match="polymer is needed"):
        find_part("film-1u0-63V", "polymer", standard_tables())


# ---- a user's own -------------------------------------------------------------------------------------------------


def test_a_users_own_table_works_the_same_way(written):
    path = written(table(*({"name": kind} | good for kind, good in GOOD.items()), head='title = "Mine"\n'))
    mine = load_table(path)
    assert list(mine) == list(GOOD)
    assert mine.title == "Mine"
    assert len(mine) == len(GOOD)
    assert not mine["film"].invented
    assert mine["film"].loss_angle == pytest.approx(0.007, rel=1e-12, abs=0)
    assert find_part("wire_pair", None, [*standard_tables(), mine]).kind == "wire_pair"


def test_a_part_written_into_a_design_file_works_the_same_way():
    assert part_from(GOOD["film"], "d.toml", "filter.stage[1].part").capacitance == pytest.approx(
        1e-6, rel=1e-12, abs=0
    )
    with pytest.raises(InputError) as caught:
        part_from(GOOD["film"] | {"esl": "6 nF"}, "d.toml", "filter.stage[1].part")
    (problem,) = caught.value.problems
    assert (problem.file, problem.key, problem.value) == ("d.toml", "filter.stage[1].part.esl", "6 nF")


def test_the_example_in_the_note_beside_the_tables_is_a_table(written):
    note = (data_folder() / "README.md").read_text(encoding="utf-8")
    section = note.split("## A table of your own")[1]
    example = load_table(written(section.split("```toml\n")[1].split("```")[0]))
    assert example["brown film"].capacitance == pytest.approx(1e-6, rel=1e-12, abs=0)


def test_the_file_says_once_that_all_its_parts_are_invented(written):
    text = table(
        {"name": "a"} | GOOD["film"], {"name": "b", "invented": False} | GOOD["film"], head="invented = true\n"
    )
    mine = load_table(written(text))
    assert (mine["a"].invented, mine["b"].invented) == (True, False)


# ---- what can be wrong in a value, in each place where it can be ---------------------------------------------------


REQUIRED = [
    (kind, key)
    for kind, good in GOOD.items()
    for key in good
    if KINDS[kind].model_fields[key].is_required() and key != "kind"
]
QUANTITIES = [
    (kind, key)
    for kind, good in GOOD.items()
    for key, value in good.items()
    if isinstance(value, str) and value[0].isdigit()
]
CHOICES = [("film", "safety_class"), ("differential_choke", "saturation"), ("common_mode_choke", "leakage_measured")]
WRONG = {
    "wrong unit": "5 lx",
    "nonsense": "a lot",
    "empty": "",
    "decimal comma": "1,5",
    "NaN": "#nan",
    "infinity": "#inf",
    "truth value": True,
    "list": [1],
    "negative": "#-1.0",
    "absurd size": "#1e12",
}


def spoiled(written, base, /, **changes):
    good = {"name": "P"} | GOOD[base]
    return refused(written(table({key: value for key, value in (good | changes).items() if value is not None})))


@pytest.mark.parametrize("wrong", WRONG.values(), ids=WRONG)
@pytest.mark.parametrize(("kind", "key"), QUANTITIES)
def test_a_value_that_cannot_be_is_named(written, kind, key, wrong):
    problems = spoiled(written, kind, **{key: wrong})
    assert [problem.key for problem in problems] == [f'part "P".{key}']
    assert problems[0].value is not None


@pytest.mark.parametrize(("kind", "key"), REQUIRED)
def test_a_missing_key_is_named(written, kind, key):
    (problem,) = spoiled(written, kind, **{key: None})
    assert problem.key == f'part "P".{key}'
    assert problem.why.startswith("missing")
    assert problem.value is None


@pytest.mark.parametrize(("kind", "key"), [(kind, key) for kind, good in GOOD.items() for key in good if key != "kind"])
def test_a_misspelt_key_gets_the_nearest_one(written, kind, key):
    misspelt = key[:-2] + key[-1] + key[-2] if len(key) > 4 and key[-1] != key[-2] else key + key[-1]
    problems = spoiled(written, kind, **{key: None, misspelt: GOOD[kind][key]})
    (unknown,) = [problem for problem in problems if problem.key == f'part "P".{misspelt}']
    assert "unknown key" in unknown.why
    assert f'"{key}"' in unknown.why


@pytest.mark.parametrize(("kind", "key"), CHOICES)
def test_a_choice_that_is_none_gets_the_valid_ones(written, kind, key):
    (problem,) = spoiled(written, kind, **{key: "maybe"})
    assert problem.key == f'part "P".{key}'
    assert "valid: " in problem.why


@pytest.mark.parametrize(
    "curve", [5, "flat", [], [["25 °C", 1]], [["25 °C", 1], ["85 °C"]], [["25 °C", 1], ["85 V", 1]], [[25, 1], [85, 1]]]
)
def test_a_curve_that_is_none_is_named(written, curve):
    (problem,) = spoiled(written, "film", temperature_curve=curve)
    assert problem.key == 'part "P".temperature_curve'


@pytest.mark.parametrize("kind", ["flim", "", 5, True])
def test_a_wrong_kind_gets_the_nearest_one(written, kind):
    (problem,) = spoiled(written, "film", kind=kind)
    assert problem.key == 'part "P".kind'
    assert "film" in problem.why


def test_a_missing_kind_is_named(written):
    (problem,) = spoiled(written, "film", kind=None)
    assert (problem.key, problem.why.split(":")[0]) == ('part "P".kind', "missing")


@pytest.mark.parametrize("name", [None, "", "  ", 5])
def test_a_part_without_a_name_is_counted(written, name):
    (problem,) = spoiled(written, "film", name=name)
    assert problem.key == "part[1].name"


@pytest.mark.parametrize("name", ["a\nb", "x" * 81])
def test_a_name_that_is_not_one_line_is_refused(written, name):
    (problem,) = spoiled(written, "film", name=name)
    assert problem.key.endswith(".name")


def test_a_duplicate_name_is_named_in_one_file_and_across_files(written, tmp_path):
    part = {"name": "P"} | GOOD["film"]
    (problem,) = refused(written(table(part, part)))
    assert problem.key == 'part "P".name'
    assert "used before" in problem.why
    paths = [tmp_path / "one.toml", tmp_path / "two.toml"]
    for path in paths:
        path.write_text(table(part), encoding="utf-8")
    with pytest.raises(InputError, match=r"two\.toml.*used before, in .*one\.toml"):
        load_tables(*paths)
    paths[0].write_text(table(part | {"name": "film-1u0-63V"}), encoding="utf-8")
    with pytest.raises(InputError, match=r"one\.toml.*used before, in .*film\.toml"):
        load_tables(paths[0], beside=standard_tables())


def test_all_problems_of_all_parts_are_said_at_once(written):
    text = table(
        {"name": "A"} | GOOD["film"] | {"esl": "6 nF", "capacitance": "1,5 µF", "colour": "red"},
        {"name": "B"} | GOOD["differential_choke"] | {"winding_capacitance": "5 pF"},
        {"name": "B"} | GOOD["common_mode_choke"] | {"leakage": "2 mH"},
        {"name": "D"} | GOOD["wire_pair"] | {"awg": 24},
        head='titel = "x"\ninvented = "yes"\n',
    )
    keys = {problem.key for problem in refused(written(text))}
    assert keys == {
        "titel",
        "invented",
        'part "A".esl',
        'part "A".capacitance',
        'part "A".colour',
        'part "B".winding_capacitance',
        'part "B".name',
        'part "B".leakage',
        'part "D".cross_section',
    }


# ---- what can be wrong with a file ---------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["", "\n\n", "# only a comment\n"])
def test_an_empty_file_is_refused(written, text):
    (problem,) = refused(written(text))
    assert "empty" in problem.why


@pytest.mark.parametrize(
    "text", ['title = "x"\n', "part = 5\n", "part = []\n", "part = [1, 2]\n", "[part]\nname = 'a'\n"]
)
def test_a_file_without_parts_is_refused(written, text):
    assert [problem.key for problem in refused(written(text))] == ["part"]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('title = "x"\n\n[[part]\nname = "a"\n', "line 3"),
        ('title = "x"\nname "a"\n', "line 2"),
        ('title = "x"\ntitle = "y"\n', "line 2"),
        ('title = "x\n', "line 1"),
        ('title = "x"\n[[part]]\nname = ', "line 3"),
    ],
)
def test_what_is_not_toml_is_refused_with_the_line(written, text, line):
    (problem,) = refused(written(text))
    assert "not TOML" in problem.why
    assert line in problem.why


@pytest.mark.parametrize(
    "raw", [b"\x89PNG\r\n\x1a\n\x00\x00", b"title = 'x\xff'\n", b"a\x00b", "title = 'µ'".encode("utf-16")]
)
def test_a_binary_file_is_refused(tmp_path, raw):
    path = tmp_path / "mine.toml"
    path.write_bytes(raw)
    (problem,) = refused(path)
    assert problem.why.startswith("not text")


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 100_000, "a = " + "9" * 5000, "a = 2026-13-45\n", "a = {b = 1\n", "a.b = 1\na = 2\n"]
)
def test_toml_that_breaks_its_reader_is_refused(written, text):
    (problem,) = refused(written(text))
    assert problem.key == ""
    assert problem.why.startswith("not ")


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbf" + table({"name": "P"} | GOOD["film"]).replace("\n", "\r\n").encode())
    assert list(load_table(path)) == ["P"]


def test_a_folder_a_missing_file_and_a_huge_one_are_refused(tmp_path):
    assert "folder" in refused(tmp_path)[0].why
    assert "no such file" in refused(tmp_path / "none.toml")[0].why
    huge = tmp_path / "huge.toml"
    with huge.open("wb") as file:
        file.truncate(LARGEST_FILE + 1)
    assert refused(huge)[0].why.startswith("larger")
    assert refused(tmp_path / "zero\0byte.toml")[0].why.startswith("cannot be read")


def test_an_unreadable_file_is_refused(written, monkeypatch):
    path = written(table({"name": "P"} | GOOD["film"]))
    path.chmod(0)
    if os.access(path, os.R_OK):  # whoever may read everything is refused by hand

        def refuse(path, *_):
            raise PermissionError(13, "Permission denied", str(path))

        monkeypatch.setattr(os, "open", refuse)
    (problem,) = refused(path)
    assert problem.why == "cannot be read: Permission denied"


def test_what_is_read_is_what_toml_says(written):
    text = table({"name": "P"} | GOOD["film"])
    assert read_toml(written(text)) == tomllib.loads(text)
