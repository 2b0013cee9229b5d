"""The reasons' numbers for results.json."""

from __future__ import annotations

from filterlib.analysis.causes.mitigations import Mitigation
from filterlib.analysis.causes.reasons import ReasonsResult
from filterlib.show.numbers import NOT_COMPUTED, Section, numbers, put, texts
from filterlib.words.labels import source_phrase
from filterlib.words.reason_sentences import Sentence, failure_text, reason_sentences, refusal_text
from filterlib.words.stability_sentences import UNSTABLE

_FEW = "only the best are tried over the uncertainty"


def reasons_section(found: ReasonsResult | None) -> Section:
    """Reasons for results.json; why there are none where there are none."""
    if found is None or not found.stable:
        return {"reason": "no steady ripple" if found is None else UNSTABLE}
    return {
        "load": found.load,
        "operating_point": found.point,
        "figure": found.figure,
        **numbers(found),
        "sentences": [{"text": one.text, "facts": _facts(one)} for one in reason_sentences(found)],
        "sources": {one.name: {"words": source_phrase(one.name)} | numbers(one) for one in found.sources},
        "parasitics": [texts(one, "name", "what", "element") | numbers(one) for one in found.parasitics],
        "bands": [texts(one, "mode", "source", "element", "what") | numbers(one) for one in found.bands],
        **numbers(found.deviation, "the filter never does worse than its formula"),
        "resonances": [texts(one, "inductive", "capacitive") | numbers(one) for one in found.resonances],
        "mitigations": [_mitigation(one) for one in found.mitigations],
        "pairs": [_mitigation(one) for one in found.pairs],
    }


def _facts(sentence: Sentence) -> Section:
    facts: Section = {}
    for one in sentence.facts:
        put(facts, f"{one.path.replace('.', '_')}_{one.unit}", one.value, NOT_COMPUTED)
    return facts


def _mitigation(one: Mitigation) -> Section:
    refused = refusal_text(one.refused)
    section = {"change": one.words, "kinds": list(one.kinds), "refused": refused, "fails_at": failure_text(one.fails)}
    section |= texts(one, "checked", "holds")
    section |= numbers(one, refused or NOT_COMPUTED, whys={"ripple_high": _FEW, "spike_high": _FEW})
    return section if one.costs is None else section | {"parts": one.costs.parts} | numbers(one.costs)
