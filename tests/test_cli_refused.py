"""What no third conductor and no emission can be: refused by the library and by the command, with what would be right, and no
result half shown."""

import pytest

from filterlib import cli, load_design
from filterlib.errors import InputError
from filterlib.parts.tables import data_folder

BRICK = (data_folder() / "designs" / "tide-gauge-brick.toml").read_text(encoding="utf-8")
Y = '[[filter]]\nkind = "capacitor_to_chassis"\npart = "{}"\n\n[[load]]\nname = "modem"'
HIGH = {
    'output_voltage = "28 V"': 'output_voltage = "72 V"',
    'low = "26 V"\nhigh = "30 V"': 'low = "70 V"\nhigh = "74 V"',
}
COMMON = 'swing = "28 V ± 20 %"'
MARGIN = '[[requirement]]\nkind = "emission"\nside = "output"\nlimit = "mains-class-b"\nmargin = "{}"\n\n[[emission]]'

CASES = {  # what is changed in the file; the key that is named; words that say what would be right
    "Y capacitors in a plastic box": (
        {"format = 1": "format = 1\nchassis = false", '[[load]]\nname = "modem"': Y.format("class2-4n7-Y2-2211")},
        "filter[4].kind", "a plastic box has no place for Y capacitors",
    ),
    "no safety class above 60 V": (
        HIGH | {'[[load]]\nname = "modem"': Y.format("class1-1n0-100V-0805")},
        "filter[4].part", "must be of safety class Y1 or Y2",
    ),
    "rise time longer than the period": (
        {COMMON: f'{COMMON}\nrise_time = "7 µs"'}, "converter.common_mode.rise_time", "a fifth of the switching period",
    ),
    "edges longer than the period": (
        {'edge_time = { low = "8 ns", value = "12 ns", high = "20 ns" }': 'edge_time = "7 µs"'}, "converter.edge_time",
        "a fifth of the switching period",
    ),
    "edges for which the duty cycle leaves no room": (  # hand: 10 % of 6.67 us is 667 ns, twice that for both edges
        {COMMON: f'{COMMON}\nrise_time = "500 ns"\nfall_time = "900 ns"', 'shape = "pulse"': 'shape = "pulse"\nduty = "10 %"'},
        "converter.common_mode.rise_time", "take 1.4 µs together, and at a duty cycle of 10 % there is room for 1.33 µs",
    ),
    "negative margin": ({"[[emission]]": MARGIN.format("-3 dB")}, "requirement[5].margin", "must be 0 dB or more"),
}  # fmt: skip


def written(name, folder):
    text = BRICK
    for old, new in CASES[name][0].items():
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "board.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("name", CASES)
def test_the_library_refuses_it_by_its_key(name, tmp_path):
    _, key, words = CASES[name]
    with pytest.raises(InputError) as caught:
        load_design(written(name, tmp_path))
    found = {problem.key: problem.why for problem in caught.value.problems}
    assert words in found[key]


@pytest.mark.parametrize("name", CASES)
def test_the_command_refuses_it_and_writes_nothing(name, tmp_path, capsys):
    path = written(name, tmp_path)
    assert cli.main(["review", str(path), "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr()
    assert not said.out
    assert CASES[name][1] in said.err
    assert CASES[name][2] in said.err.replace("\n", " ")
    assert "Traceback" not in said.err
    assert [one.name for one in tmp_path.iterdir()] == ["board.toml"]


@pytest.mark.parametrize("rise", ["300 ns", "600 ns"])
def test_edges_for_which_there_is_room_are_taken(rise, tmp_path):
    """hand: 300 + 900 and 600 + 600 ns are less than the 1333 ns above; the node is at its levels for the rest."""
    fall = "900 ns" if rise == "300 ns" else "600 ns"
    text = BRICK.replace(COMMON, f'{COMMON}\nrise_time = "{rise}"\nfall_time = "{fall}"').replace(
        'shape = "pulse"', 'shape = "pulse"\nduty = "10 %"'
    )
    path = tmp_path / "board.toml"
    path.write_text(text, encoding="utf-8")
    assert load_design(path).converter.common_mode.rise_time.value < 1e-6
