"""Ratings that a person accepts: what may be named, and what is refused."""

import pytest

from filterlib.analysis.stress.stress import stress
from filterlib.errors import InputError
from filterlib.system.file.accepted import RATINGS
from filterlib.system.solution import solve
from tests.designs import common_mode, converter, design, film, resistive, series, shunt

STAGES = (shunt(), series(), common_mode(), {"kind": "capacitor_to_chassis", "part": film("4.7 nF")})


def refused(*accepted, load=None):
    with pytest.raises(InputError) as caught:
        design(*STAGES, load=load, accepted=accepted)
    return [(problem.key, problem.why) for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("accepted", "key", "why"),
    [
        (
            {"part": "L9", "rating": "current"},
            "accepted[1].part",
            "no such part, or none that has ratings; valid: C1, L1, L2, Y1",
        ),
        ({"part": "modem", "rating": "voltage"}, "accepted[1].part", "no such part, or none that has ratings"),
        ({"part": "C1", "rating": "peak current"}, "accepted[1].rating", "C1 has no such rating"),
        ({"part": "C1", "rating": "volts"}, "accepted[1].rating", "C1 has no such rating; did you mean"),
        ({"part": "C1", "rating": "voltage", "reason": "  "}, "accepted[1].reason", "say in a few words why"),
        ({"part": "C1", "rating": "voltage", "reason": None}, "accepted[1].reason", "text in quotes is needed here"),
    ],
)
def test_what_no_part_has_is_refused_with_what_would_be_right(accepted, key, why):
    problems = refused({"reason": "tested"} | accepted)
    assert any(key == found and why in told for found, told in problems), problems


def test_a_converters_own_rating_can_be_accepted_where_it_states_one():
    over = {"part": "converter", "rating": "output current", "reason": "bursts of 10 ms"}
    assert refused(over)[0][0] == "accepted[1].part"
    rated = design(*STAGES, source=converter(shape="triangle", rating={"output_current": "3 A"}), accepted=[over])
    (check,) = [check for check in stress(solve(rated)).checks if check.name == "converter"]
    assert check.verdict == "not met"  # hand: 28 V over 7 ohm
    assert rated.accepted[0].covers(check.name, check.what)


def test_one_rating_is_accepted_once():
    one = {"part": "L1", "rating": "temperature rise", "reason": "tested"}
    assert refused(one, one) == [("accepted[2].rating", "accepted already, in accepted[1]")]


def test_every_rating_that_a_part_is_held_against_can_be_accepted():
    held = {"part": film(kind="aluminium", rated_life="5000 h", maximum_temperature="105 °C"), "mounting_loop": 0}
    loaded = resistive(input_capacitor=held)
    one = design(*STAGES, {"kind": "damping", "part": film(), "resistance": 1}, source=converter(shape="triangle"),
                 load=loaded)  # fmt: skip
    kinds = {stage.name: stage.kind for stage in one.filter} | {"modem": "capacitor"}
    checks = [check for check in stress(solve(one)).checks if check.what != "leakage current"]
    assert {check.name.split(".")[0] for check in checks} == set(kinds)
    assert all(check.what in RATINGS[kinds[check.name.split(".")[0]]] for check in checks)
    accepted = [{"part": check.name.split(".")[0], "rating": check.what, "reason": "tested"} for check in checks]
    whole = one.replace(accepted=list({tuple(a.items()): a for a in accepted}.values()))
    assert all(any(a.covers(check.name, check.what) for a in whole.accepted) for check in checks)
