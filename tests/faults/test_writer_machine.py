"""The writer driven at random: runs, files of others, faults at any call; a model knows what has to be there after each step."""

import os
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from tests.faults import injected, runs

NAMES = st.sampled_from(["notes.txt", "photos/board.txt", "photos/deep/scope.csv", "changes/mine.toml", "figure.svg"])
FAULTS = st.sampled_from([injected.fail, injected.interrupt, injected.die])


class Writer(RuleBasedStateMachine):
    """``found``: texts that a reader may find; ``others``: what others keep there, by name."""

    def __init__(self):
        super().__init__()
        self.place = tempfile.TemporaryDirectory()
        self.folder = Path(self.place.name) / "out"
        self.found, self.others, self.count = {None}, {}, 0

    def teardown(self):
        self.place.cleanup()

    @rule(sort=st.booleans())
    def write(self, sort):
        self.count += 1
        text = f"run{self.count}{'a' if sort else ''}"
        runs.write(self.folder, text)
        self.found = {text}
        assert [path.name for path in self.folder.parent.iterdir()] == ["out"]

    @rule(fault=FAULTS, at=st.integers(0, 110))
    def write_with_a_fault(self, fault, at):
        self.count += 1
        text = f"run{self.count}"
        code = injected.with_fault(lambda: runs.write(self.folder, text), at, fault)
        if code in (injected.WHOLE, injected.UNREACHED):
            self.found = {text}
        elif code != injected.REFUSED:
            self.found = self.found | {text}

    @precondition(lambda self: self.folder.exists())
    @rule(name=NAMES, text=st.sampled_from(["a", "b"]))
    def somebody_saves(self, name, text):
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        path.write_text(text)
        self.others[name] = text

    @invariant()
    def one_whole_run_and_all_of_the_others(self):
        text = runs.text_in(self.folder, *self.others)
        assert text in self.found
        self.found = {text}
        assert {name: (self.folder / name).read_text() for name in self.others} == self.others


def machine(examples, steps):
    run_state_machine_as_test(
        Writer,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            derandomize=True,
            database=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork")
def test_no_way_through_leaves_two_runs_or_loses_a_file(monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda descriptor: None)
    machine(12, 12)
