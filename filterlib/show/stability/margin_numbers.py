"""How far from ringing, as numbers for results.json."""

from __future__ import annotations

from collections.abc import Iterable

from filterlib.analysis.converter_side.converter_side_result import ConverterSide, MeasuredOutput, SourceSide
from filterlib.analysis.stability.stability_result import Margin, PartLimits
from filterlib.show.numbers import Section, numbers
from filterlib.system.design import Design
from filterlib.words.margin_sentences import margin_sentence
from filterlib.words.supply.converter_side_sentences import converter_side_lines

UNSTABLE = "the loop is unstable, or never crosses over"
NOTHING = "nothing turns it unstable, or no resonance is there"


def margins_section(margins: Iterable[Margin]) -> list[Section]:
    """Each load of constant power, with what rules about impedances would allow it."""
    return [
        {
            "load": one.load,
            "words": margin_sentence(one),
            **numbers(one, NOTHING if one.stable else "an unstable loop has none"),
            "rules": [_rule(rule) for rule in one.rules],
        }
        for one in margins
    ]


def converter_side_section(side: ConverterSide | None, design: Design) -> Section:
    """The converter's own loop with the filter on, for each place where it may sense, its start, and the line that feeds it."""
    if side is None:
        return {}
    return {
        "point": side.point,
        "words": [*converter_side_lines(side, design)],
        "loop": [{"sensed": one.sensed, "stable": one.stable} | numbers(one, UNSTABLE) for one in side.regulation],
        "measured": _or_none(side.measured, side.why_not_measured or "no output impedance was measured"),
        "start": numbers(side.start, "the loads alone take all of the limit"),
        "source": _or_none(side.source, side.why_no_source),
        "source_worst": _or_none(side.source_worst, side.why_no_source),
    }


def part_limits_section(limits: PartLimits | None) -> Section:
    """The value of each part from which the load with the least margin rings, and its critical power with the electrolytics cold and worn."""
    if limits is None:
        return {}
    values = [
        {"key": one.key, "unit": one.unit, "above": bool(one.above)} | numbers(one, NOTHING) for one in limits.values
    ]
    states = [{"condition": one.words, "worn": one.worn} | numbers(one, NOTHING) for one in limits.conditions]
    return {"point": limits.point, "load": limits.load, "critical_values": values, "conditions": states}


def _or_none(found: MeasuredOutput | SourceSide | None, why: str) -> Section:
    if found is None:
        return {"reason": why}
    stable = found.stable if isinstance(found, MeasuredOutput) else found.more > 0
    return {"stable": bool(stable)} | numbers(found, NOTHING)


def _rule(rule: object) -> Section:
    return {"rule": rule.name, "allows": bool(rule.kept)} | numbers(rule, NOTHING)  # type: ignore[attr-defined]
