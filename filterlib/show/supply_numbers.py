"""The battery's side and the plug in results.json."""

from __future__ import annotations

from filterlib.analysis.supply.rules import Check
from filterlib.analysis.supply.supply_side import SupplySide
from filterlib.show.numbers import Section, numbers, texts
from filterlib.words.supply_sentences import battery_line, check_sentence, fix_words, plug_line

NOT_STATED = "nothing says it"


def supply_section(found: SupplySide | None) -> Section:
    """Both in results.json; null with its reason where nothing is stated."""
    if found is None:
        return {"supply": None, "supply_reason": "the file states neither battery nor supply wire, fuse or switch"}
    run, plug = found.run, found.plug
    battery = numbers(run, NOT_STATED) | {"line": battery_line(run), "checks": [_check(one) for one in run.checks]}
    battery["operating_points"] = {one.point: numbers(one, "the line cannot deliver this") for one in run.draws}
    fixes = [
        {"name": one.name, "words": fix_words(one)}
        | numbers(one)
        | {"plug": numbers(one.plug), "checks": [_check(c) for c in one.checks]}
        for one in plug.fixes
    ]
    at_plug = {
        "line": plug_line(plug),
        "nominal": numbers(plug.plug),
        "checks": [_check(one) for one in plug.checks],
        "fixes": fixes,
    }
    return {"supply": {"battery": battery, "plug": at_plug}}


def _check(one: Check) -> Section:
    words = texts(one, "name", "part", "what", "verdict", "rule", "source") | {"sentence": check_sentence(one)}
    return words | numbers(one, "no limit stated")
