"""The fields of any part, with their units, whatever a part of tomorrow has."""

from __future__ import annotations

from typing import Annotated, Literal

import pytest
from pydantic import InstanceOf

from filterlib.parts.base import Curve, Part, Quantity
from filterlib.parts.fields import fields
from filterlib.parts.tables import standard_tables
from filterlib.parts.values import Points, Value


class Bead(Part):
    """A kind that no table has."""

    kind: Literal["bead"] = "bead"
    impedance_at_peak: Annotated[Value, Quantity("ohm", above=0)]
    warmth: Annotated[Points, Curve("K", reference=298.15)] | None = None
    limit: Annotated[Value, Quantity("A", above=0)] | None = None
    colour: str = ""
    origin: InstanceOf[object] = object()


def test_units_are_found_also_in_optional_fields():
    bead = Bead(name="B", impedance_at_peak="600 ohm", warmth=[["25 °C", 1], ["85 °C", 0.8]], limit="2 A")
    found = {field.name: field for field in fields(bead)}
    assert found["impedance_at_peak"].value == pytest.approx(600, rel=1e-12, abs=0)  # hand
    assert (found["impedance_at_peak"].unit, found["limit"].unit) == ("ohm", "A")
    assert found["warmth"].curve
    assert found["warmth"].unit == "K"
    assert found["warmth"].value[1][1] == 0.8
    assert set(found) == {"impedance_at_peak", "warmth", "limit", "invented"}


def test_a_default_is_told_from_what_is_stated():
    found = {field.name: field for field in fields(Bead(impedance_at_peak=600))}
    assert found["impedance_at_peak"].stated
    assert not found["invented"].stated


@pytest.mark.parametrize("part", [part for table in standard_tables() for part in table.values()], ids=lambda p: p.name)
def test_every_number_of_every_part_has_its_unit(part):
    for field in fields(part):
        number = isinstance(field.value, float) or field.curve
        assert number == (field.unit is not None), field.name
