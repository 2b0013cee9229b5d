"""The battery's side, the plug and the switch-on in results.json."""

from __future__ import annotations

from filterlib.analysis.supply.supply_result import Starting, SupplySide
from filterlib.show.numbers import Section, numbers
from filterlib.show.rule_checks import check_numbers
from filterlib.words.supply.supply_sentences import battery_line, fix_words, plug_line
from filterlib.words.supply.switch_on_sentences import start_words, switch_on_line

NOT_STATED = "the file does not state what it needs"
NO_SIDE = "the file states neither battery nor supply wire, fuse or switch"


def supply_section(found: SupplySide | None) -> Section:
    """All of it in results.json; null with its reason where nothing is stated."""
    if found is None:
        return {"supply": None, "supply_reason": f"{NO_SIDE}, nor the converter's limit"}
    return {"supply": {**_side(found), **_switch_on(found)}}


def _switch_on(found: SupplySide) -> Section:
    """The starts, nominal and at the ends of the range."""
    start = found.switch_on
    if start is None:
        return {
            "switch_on": None,
            "switch_on_reason": found.why_no_start or "the file states no limit of the converter",
        }
    cases = {name: _start(getattr(start, name)) for name in ("nominal", "hard", "easy", "usual")}
    largest = numbers(start, "any bank comes up")
    return {
        "switch_on": {
            "line": switch_on_line(start),
            **largest,
            "inputs": {
                name: numbers(one) for name, one in zip(("nominal", "weak", "strong"), start.inputs, strict=False)
            },
            "checks": [check_numbers(one) for one in start.checks],
            **cases,
        }
    }


def _start(one: Starting) -> Section:
    loads = {load.load: numbers(load, "it never runs") for load in one.loads}
    return {"end": one.end, "words": start_words(one)} | numbers(one, "not all loads run") | {"loads": loads}


def _side(found: SupplySide) -> Section:
    run, plug = found.run, found.plug
    if run is None or plug is None:
        return {"battery": None, "battery_reason": NO_SIDE, "plug": None, "plug_reason": NO_SIDE}
    battery = numbers(run, NOT_STATED) | {
        "line": battery_line(run),
        "checks": [check_numbers(one) for one in run.checks],
    }
    battery["operating_points"] = {one.point: numbers(one, "the line cannot deliver this") for one in run.draws}
    fixes = [
        {"name": one.name, "words": fix_words(one)}
        | numbers(one)
        | {"plug": numbers(one.plug), "checks": [check_numbers(c) for c in one.checks]}
        for one in plug.fixes
    ]
    at_plug = {
        "line": plug_line(plug),
        "nominal": numbers(plug.plug),
        "checks": [check_numbers(one) for one in plug.checks],
        "fixes": fixes,
    }
    return {"battery": battery, "plug": at_plug}
