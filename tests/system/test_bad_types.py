"""What is of the wrong kind, missing, negative or far too long, in every place of a design file; generated from its keys."""

import copy
from datetime import date

import pytest
from pydantic import BaseModel

from filterlib import load_design
from filterlib.cli import main
from filterlib.errors import InputError
from filterlib.parts.tables import KINDS as PARTS
from filterlib.parts.wire import WirePair
from filterlib.show.keys.key_sections import REQUIREMENTS
from filterlib.system.design import Design
from filterlib.system.line.stages import KINDS as STAGES
from tests.system.test_bad_input import EVERY, QUANTITIES, TREE, changed, get, key_of, refused, written

SCALARS = [path for path in EVERY if not isinstance(get(TREE, path), dict | list) and path[-1] != "note"]
TABLES = [path for path in EVERY if isinstance(get(TREE, path), dict)]
LISTS = [path for path in EVERY if isinstance(get(TREE, path), list)]


def named(problems, path):
    """The problems at a place or below it."""
    return [problem for problem in problems if problem.key.startswith(key_of(path))]


@pytest.mark.parametrize(
    "value",
    [{"a": 1}, {}, [], [1, 2], True, "x" * 5000, ""],
    ids=["table", "empty table", "empty list", "list", "bool", "long text", "empty text"],
)
@pytest.mark.parametrize("path", SCALARS, ids=key_of)
def test_a_single_value_of_the_wrong_kind_is_named(path, value, tmp_path):
    if path[-1] == "loads":
        return
    problems = refused(changed(path, value), tmp_path)
    assert named(problems, path), [str(problem) for problem in problems]
    assert all(len(str(problem)) < 2500 for problem in problems)


@pytest.mark.parametrize("value", [5, "text", True, [], [5], ["text"]], ids=str)
@pytest.mark.parametrize("path", TABLES, ids=key_of)
def test_what_should_be_a_table_and_is_none_is_named(path, value, tmp_path):
    (problem, *_) = named(refused(changed(path, value), tmp_path), path)
    assert "table" in problem.why or "part" in key_of(path) or path[-1] == "lead" or "unknown" in problem.why


@pytest.mark.parametrize("value", [5, "text", True, {}, {"a": 1}, [5], [[]]], ids=str)
@pytest.mark.parametrize("path", LISTS, ids=key_of)
def test_what_should_be_a_list_and_is_none_is_named(path, value, tmp_path):
    (problem, *_) = named(refused(changed(path, value), tmp_path), path)
    assert "list" in problem.why or "table" in problem.why or "name of a limit" in problem.why


@pytest.mark.parametrize("path", [("load",), ("operating_point",)], ids=key_of)
def test_at_least_one_is_needed(path, tmp_path):
    (problem,) = named(refused(changed(path, []), tmp_path), path)
    assert "at least 1" in problem.why


@pytest.mark.parametrize("path", QUANTITIES, ids=key_of)
def test_a_negative_value_is_named(path, tmp_path):
    (problem, *_) = named(refused(changed(path, -1), tmp_path), path)
    assert problem.value == -1
    assert "must" in problem.why


@pytest.mark.parametrize("path", QUANTITIES, ids=key_of)
def test_a_date_is_no_quantity(path, tmp_path):
    tree = changed(path, "DATE")
    file = tmp_path / "design.toml"
    text = "\n".join(f"{key} = {written(value)}" for key, value in tree.items())
    file.write_text(text.replace('"DATE"', str(date(2024, 2, 29))), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_design(file)
    assert named(caught.value.problems, path)


def test_a_mistake_in_every_quantity_is_said_in_one_run(tmp_path):
    tree = copy.deepcopy(TREE)
    for path in QUANTITIES:
        get(tree, path[:-1])[path[-1]] = "3 lx"
    assert {problem.key for problem in refused(tree, tmp_path)} == {key_of(path) for path in QUANTITIES}


def test_an_unknown_key_in_every_table_is_said_in_one_run(tmp_path):
    tree = copy.deepcopy(TREE)
    places = [path for path in TABLES if path[-1] != "loads"]
    for path in places:
        get(tree, path)["colour"] = "red"
    assert {problem.key for problem in refused(tree, tmp_path)} == {f"{key_of(path)}.colour" for path in places}


SAMPLE = [
    (("converter", "output_esr"), "6 mV"), (("converter", "ripple", "order"), 2.5), (("filter", 0, "part", "capacitance"), 4.7),
    (("filter", 1, "part"), "cm-1m0-5B"), (("load", 0, "name"), ""), (("requirement", 0, "load"), "modern"),
    (("coupling", 0, "mutual"), float("nan")), (("operating_point", 1, "loads", "modem"), True), (("name",), "x" * 5000),
]  # fmt: skip


@pytest.mark.parametrize(("path", "value"), SAMPLE, ids=[key_of(path) for path, _ in SAMPLE])
def test_the_command_refuses_with_the_key_and_leaves_nothing_behind(path, value, tmp_path, capsys):
    file = tmp_path / "design.toml"
    tree = changed(path, value)
    file.write_text("\n".join(f"{key} = {written(inner)}" for key, inner in tree.items()), encoding="utf-8")
    assert main(["review", str(file), "--out", str(tmp_path / "out")]) == 2
    shown = capsys.readouterr()
    assert f"{file}: {key_of(path)}" in shown.err
    assert "Traceback" not in shown.err
    assert not shown.out
    assert [entry.name for entry in tmp_path.iterdir()] == ["design.toml"]


# ---- what is missing: each key of the complete file taken away in turn -----------------------------------------------


def model_of(path):
    """The model that reads the table at a place of the complete file."""
    table = get(TREE, path)
    if path and path[-1] in ("part", "lead"):
        return PARTS[table["kind"]] if "kind" in table else WirePair
    if path[:1] == ("requirement",):
        return REQUIREMENTS[table["kind"]]
    model, steps = Design, path
    if path[:1] == ("filter",) and len(path) > 1:
        model, steps = STAGES[get(TREE, path[:2])["kind"]], path[2:]
    for step in steps:
        if not isinstance(step, int):
            fields = {field.alias or name: field for name, field in model.model_fields.items()}
            (model,) = models_in(fields[step].annotation)
    return model


def models_in(annotation):
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [found for inner in getattr(annotation, "__args__", ()) for found in models_in(inner)]


KEYS = [path for path in EVERY if not isinstance(path[-1], int) and "loads" not in path[:-1]]
ALSO = {  # needed because of the kind of the load, and because another key is stated
    "load[1].power", "load[2].current", "filter[2].part.leakage_measured",
}  # fmt: skip
LEFT = {  # what may be left out, but leaves something else without its sense
    ("filter",): "coupling[1].first",
    ("converter", "input_voltage"): "operating_point[2].input_voltage",
    ("filter", 5, "part", "cross_section"): "exactly one of", ("load", 0, "lead", "cross_section"): "exactly one of",
}  # fmt: skip


def is_needed(path):
    fields = {field.alias or name: field for name, field in model_of(path[:-1]).model_fields.items()}
    return fields[path[-1]].is_required() or key_of(path) in ALSO


def without(path):
    tree = copy.deepcopy(TREE)
    del get(tree, path[:-1])[path[-1]]
    return tree


@pytest.mark.parametrize("path", [path for path in KEYS if is_needed(path)], ids=key_of)
def test_a_key_that_is_needed_is_named_where_it_is_missing(path, tmp_path):
    (problem, *_) = named(refused(without(path), tmp_path), path)
    assert (problem.key, problem.value) == (key_of(path), None)
    assert problem.why.startswith("missing: ")


@pytest.mark.parametrize("path", [path for path in KEYS if not is_needed(path) and path not in LEFT], ids=key_of)
def test_a_key_that_is_not_needed_may_be_left_out(path, tmp_path):
    file = tmp_path / "design.toml"
    file.write_text("\n".join(f"{key} = {written(value)}" for key, value in without(path).items()), encoding="utf-8")
    load_design(file)


@pytest.mark.parametrize("path", LEFT, ids=key_of)
def test_what_loses_its_sense_without_another_key_is_named(path, tmp_path):
    tree = without(path)
    if "operating_point[2]" in LEFT[path]:
        tree["operating_point"][1]["input_voltage"] = "20 V"
    assert LEFT[path] in "\n".join(map(str, refused(tree, tmp_path)))
