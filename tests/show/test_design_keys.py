"""What every key of a design file is: complete, its examples taken, the page of today, and a schema that accepts what the program does."""

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from filterlib import cli
from filterlib.errors import InputError
from filterlib.parts.tables import data_folder
from filterlib.show.keys.key_page import key_markdown
from filterlib.show.keys.key_rows import rows
from filterlib.show.keys.key_sections import SECTIONS, key_sections
from filterlib.show.keys.schema import schema
from filterlib.system.model import Model

ROOT = Path(__file__).parents[2]
EXAMPLES = [(one.title, one.model, row) for one in key_sections() for row in rows(one.model) if row.example != "-"]
ELSEWHERE = (
    "recording",
    "limit",
    "limits",
    "file",
    "part",
    "lead",
    "tables",
    "network",
)  # what the file's reader puts in place


@pytest.fixture(scope="module")
def validator():
    jsonschema.Draft202012Validator.check_schema(schema())
    return jsonschema.Draft202012Validator(schema())


def problems(validator, text):
    return [(".".join(map(str, one.absolute_path)), one.message) for one in validator.iter_errors(tomllib.loads(text))]


@pytest.mark.parametrize("section", key_sections(), ids=lambda one: one.title)
def test_every_key_is_explained_and_no_other(section):
    told = {row.key: row.words for row in rows(section.model)}
    assert set(section.words) == set(told)
    assert all(words.strip() for words in told.values())


def models(root):
    for one in root.__subclasses__():
        if one.__module__.startswith("filterlib.system.") and not one.__name__.startswith("_"):
            yield from (one, *models(one))


def test_every_model_of_a_design_file_has_its_section():
    """Bases, limit files and what is a field of none have none."""
    others = {"Stage", "Arrangement", "Limit", "Piece", "BankBranch", "Bank", "BankConverter", "Move", "MeasuredInside"}
    assert {one.__name__ for one in models(Model)} - {one.__name__ for one in SECTIONS.values()} <= others


BESIDE = {
    ("Bond", "safety_class"): {"capacitance": "4.7 nF"},
    ("OutputLimit", "short_circuit_current"): {"kind": "foldback"},
    ("OutputLimit", "hiccup_on"): {"kind": "hiccup"},
    ("OutputLimit", "hiccup_off"): {"kind": "hiccup"},
    ("Switch", "ramp"): {"kind": "transistor"},
    ("Switch", "avalanche_energy"): {"kind": "transistor"},
}
"""Model and key -> what has to be stated too."""


@pytest.mark.parametrize(("title", "model", "row"), EXAMPLES, ids=lambda one: getattr(one, "key", None))
def test_every_example_is_one_that_the_model_takes(title, model, row):
    """The key alone: what else is missing is said, and nothing of the key."""
    example = tomllib.loads(row.example)
    assert list(example) == [row.key]
    if row.key in ELSEWHERE:
        return
    beside = BESIDE.get((model.__name__, row.key), {})
    assert [one for one in refused(model, beside | example) if one.key == row.key and one.value is not None] == []


def refused(model, values):
    """What the model says of some of its keys alone."""
    try:
        model(**values)
    except InputError as error:
        return error.problems
    return ()


def test_the_page_in_the_folder_docs_is_that_of_today():
    assert (ROOT / "docs" / "design-keys.md").read_text(encoding="utf-8") == key_markdown(), "run docs/make_keys.py"


@pytest.mark.parametrize("path", sorted((data_folder() / "designs").glob("*.toml")), ids=lambda path: path.stem)
def test_the_schema_takes_what_the_program_takes(validator, path):
    assert problems(validator, path.read_text(encoding="utf-8")) == []


LEAST = """
name = "x"
[converter]
name = "y"
output_voltage = "28 V"
switching_frequency = "180 kHz"
ripple = { peak_to_peak = "200 mV" }
[[filter]]
kind = "capacitor"
part = { kind = "film", capacitance = "1 µF", rated_voltage = "63 V" }
[[load]]
name = "modem"
kind = "constant_power"
power = "60 W"
"""


@pytest.mark.parametrize(
    ("before", "after", "where"),
    [
        ("output_voltage", "output_votlage", "converter"),
        ('"28 V"', "true", "converter.output_voltage"),
        ('"28 V"', '"some"', "converter.output_voltage"),
        ('kind = "capacitor"', 'kind = "condenser"', "filter.0.kind"),
        ('kind = "film", ', "", "filter.0.part"),
        ('[[load]]', "[accumulator]\nvoltage = 12\n[[load]]", ""),
    ],
)  # fmt: skip
def test_the_schema_refuses_what_the_program_refuses(validator, before, after, where):
    assert problems(validator, LEAST) == []
    assert where in [key for key, _ in problems(validator, LEAST.replace(before, after, 1))]


def test_the_schema_says_what_a_key_is(validator):
    told = schema()["$defs"]["CommonModeChoke"]["properties"]["relaxation_frequency"]["description"]
    assert "bends from rising in proportion to flat [Hz]. Default: usual of its kind" in told
    assert told.endswith('Example: relaxation_frequency = "1 MHz"')


def test_the_command_writes_both_and_refuses_a_folder_that_is_none(tmp_path, capsys):
    assert cli.main(["schema", str(tmp_path)]) == 0
    assert json.loads((tmp_path / "filter-design.schema.json").read_text(encoding="utf-8")) == schema()
    page = (tmp_path / "design-keys.html").read_text(encoding="utf-8")
    assert all(f">{row.key}</code></th>" in page for _, _, row in EXAMPLES)
    assert "`" not in page.split("<main>")[1].split("</main>")[0]
    assert cli.main(["schema", str(tmp_path / "none")]) == 2
    assert "no such folder" in capsys.readouterr().err
