"""The script that damages: it damages what it says, finds what a test notices, and names what none does."""

import ast
import json
import tempfile
from pathlib import Path

import pytest

from tests.damage.__main__ import main
from tests.damage.damages import chosen, damages, physics

ROOT = Path(__file__).parents[2]
MODULE = '''"""Power."""

import math


def heat(amps: float, ohms: float) -> float:
    """Heat: 2 * math.pi in words is nothing to damage."""
    if amps < 0:
        raise ValueError(f"{amps + 1}")
    return ohms * amps**2


def cold(amps: float) -> float:
    return -amps


def alone(farads: float) -> float:
    return 2 * math.pi * farads


def name(one: str) -> str:
    return "a" + one + f"{1 + 2}"
'''
TESTS = """from filterlib.network.power import cold, heat


def test_heat():
    assert heat(3.0, 2.0) == 18.0


def test_cold_is_a_number():
    assert cold(1.0) ** 2 == 1.0
"""


@pytest.fixture
def tree(tmp_path):
    for path, text in {
        "filterlib/__init__.py": "",
        "filterlib/network/power.py": MODULE,
        "filterlib/network/power_words.py": MODULE,
        "filterlib/network/names.py": "def both(a, b):\n    return a + b\n",
        "tests/network/test_power.py": TESTS,
    }.items():
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_text(text, encoding="utf-8")
    return tmp_path


def test_what_can_be_damaged_is_arithmetic_alone(tree):
    (module,) = physics(tree)
    found = {(one.kind, one.old, one.new) for one in damages(tree, module)}
    assert found == {  # hand
        ("inverse", "ohms * amps ** 2", "ohms / amps ** 2"),
        ("factor of two", "ohms * amps ** 2", "2 * (ohms * amps ** 2)"),
        ("square lost", "amps ** 2", "amps"),
        ("sign", "-amps", "amps"),
        ("pi lost", "2 * math.pi", "1"),
        ("inverse", "2 * math.pi * farads", "2 * math.pi / farads"),
        ("factor of two", "2 * math.pi * farads", "2 * (2 * math.pi * farads)"),
    }


@pytest.mark.parametrize(
    ("code", "new"),
    [
        ("a + b", {"a - b", "a", "b"}),
        ("a - b", {"a + b", "a"}),
        ("2 * a", {"a"}),
        ("a / 2", {"a"}),
        ("2j * np.pi * a", {"1j * a", "2j * np.pi / a", "2 * (2j * np.pi * a)"}),
        ("np.max(a)", {"np.min(a)"}),
        ("np.cos(a)", {"np.sin(a)"}),
        ("np.conj(a)", {"a"}),
        ("a.conj()", {"a"}),
        ("a.real", {"a.imag"}),
        ("abs(a)", {"a"}),
        ("np.sqrt(a)", {"a"}),
        ("np.exp(a)", {"np.exp(-a)"}),
        ("a < b", {"a > b"}),
        ("a[1:]", {"a[2:]"}),
        ("np.arange(1, a)", {"np.arange(2, a)"}),
        ("(*a, b) + c", set()),
        ("a + 'text'", set()),
        ("1 + 1e-9", set()),
        ("np.sum(a, axis=-b)", set()),
        ("format_quantity(a + b)", set()),
        ("progress(a + b)", set()),
    ],
)
def test_every_kind_of_slip(tmp_path, code, new):
    """hand"""
    path = tmp_path / "one.py"
    path.write_text(f"# µ\ndef f(a, b, c):\n    return {code}\n", encoding="utf-8")
    texts = [one.applied(path.read_bytes()).decode() for one in damages(tmp_path, path)]
    assert {ast.unparse(ast.parse(text).body[0].body[0].value) for text in texts} == new


def test_known_damage_is_caught_and_harmless_damage_is_named(tree, capsys, monkeypatch, tmp_path_factory):
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    monkeypatch.setattr(tempfile, "tempdir", str(elsewhere))
    report = elsewhere / "damage.json"
    before = {path: path.read_bytes() for path in tree.rglob("*") if path.is_file()}
    assert main(["--json", str(report)], tree) == 1
    found = {one["function"]: one for one in json.loads(report.read_text(encoding="utf-8"))}
    assert {name: one["outcome"] for name, one in found.items()} == {  # hand
        "heat": "caught",
        "cold": "survived",  # its test squares the sign away
        "alone": "not called",
    }
    assert found["heat"]["why"] == "tests/network/test_power.py::test_heat"
    said = capsys.readouterr().out
    assert "filterlib/network/power.py:14  sign: -amps  ->  amps  (survived)" in said
    assert {path: path.read_bytes() for path in tree.rglob("*") if path.is_file()} == before


def test_the_draw_hangs_on_the_text_alone(tree):
    drawn = chosen(tree)
    before = [(one.function, one.kind, one.new) for one in drawn]
    moved = tree / "filterlib" / "analysis" / "linear" / "heat.py"
    moved.parent.mkdir(parents=True)
    (tree / "filterlib" / "network" / "power.py").rename(moved)
    moved.write_text("# one line more\n" + moved.read_text(encoding="utf-8"), encoding="utf-8")
    assert [(one.function, one.kind, one.new) for one in chosen(tree)] == before
    assert len(before) == 3


def test_a_hundred_lines_of_the_library_can_be_damaged_and_read_again():
    drawn = chosen(ROOT)
    assert len({(one.path, one.line) for one in drawn}) == 100
    for one in drawn:
        text = (ROOT / one.path).read_bytes()
        assert ast.dump(ast.parse(one.applied(text))) != ast.dump(ast.parse(text))
