"""Every number of a frozen result says its unit where it is held."""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
from collections.abc import Mapping
from typing import Annotated, get_args, get_origin, get_type_hints

import numpy as np
import pytest

import filterlib.analysis
from filterlib.analysis.described import Unit, Volts, described, label
from filterlib.analysis.emission.emission_result import EmissionResult
from filterlib.analysis.verdict import Verdict
from filterlib.units import quantity

NUMBERS = (float, complex, np.ndarray)
LEVELS = ("", "own", "C", "V²", "1/s", "deg", "A2s")  # beside the units that a quantity may have


def results():
    """Every dataclass of analysis/ that others see."""
    for found in pkgutil.walk_packages(filterlib.analysis.__path__, "filterlib.analysis."):
        for name, kind in vars(importlib.import_module(found.name)).items():
            own = isinstance(kind, type) and kind.__module__ == found.name and dataclasses.is_dataclass(kind)
            if own and not name.startswith("_"):
                yield kind


def bare(hint):
    """Numbers anywhere in a type that stand under no unit."""
    if get_origin(hint) is Annotated and any(isinstance(mark, Unit) for mark in hint.__metadata__):
        return []
    return [hint] if hint in NUMBERS else [one for inner in get_args(hint) for one in bare(inner)]


@pytest.mark.parametrize("kind", list(results()), ids=lambda kind: kind.__name__)
def test_every_number_has_its_unit(kind):
    hints = get_type_hints(kind, include_extras=True)
    assert [field.name for field in dataclasses.fields(kind) if bare(hints[field.name])] == []


def test_a_number_without_a_unit_is_seen():
    assert bare(float | None) == [float]
    assert bare(Mapping[str, tuple[np.ndarray, ...]]) == [np.ndarray]
    assert bare(Volts[Mapping[str, float]]) == []
    assert len(list(results())) > 50


@pytest.mark.parametrize("kind", list(results()), ids=lambda kind: kind.__name__)
def test_units_are_units(kind):
    """Second method: the reader of quantities knows them."""
    names = {field.name for field in dataclasses.fields(kind)}
    for mark in described(kind).values():
        for unit in (mark.unit, *mark.except_at.values()):
            if unit.startswith("{"):
                assert unit[1:-1] in names
            elif unit not in LEVELS and not unit.startswith("dB"):
                assert quantity(f"1 {unit}", unit) == 1.0


def test_a_unit_may_stand_in_another_field_or_depend_on_the_key():
    verdict = Verdict("", "emission", "", 6.0, "dB", 7.0, 5.0, 8.0, "full", "undecided", "", 0.1)
    assert described(verdict)["value"].of(verdict) == "dB"
    levels = described(EmissionResult)["levels"]
    assert (levels.of(None, "plus"), levels.of(None, "common_current")) == ("dBuV", "dBuA")
    assert label(Verdict, "value") == "nominal"
