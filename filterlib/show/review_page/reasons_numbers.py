"""The reasons' numbers for results.json."""

from __future__ import annotations

from filterlib.analysis.causes.causes_result import Mitigation
from filterlib.analysis.review_result import Proposal, ReasonsResult
from filterlib.show.numbers import NOT_COMPUTED, Section, numbers, put, texts
from filterlib.words.facts import Sentence
from filterlib.words.labels import source_phrase
from filterlib.words.review.proposal_sentences import failing_text
from filterlib.words.review.reason_sentences import reason_sentences, refusal_text
from filterlib.words.stability_sentences import UNSTABLE


def reasons_section(reasons: ReasonsResult | None) -> Section:
    """Reasons for results.json; why there are none where there are none."""
    if reasons is None or not reasons.stable:
        found = () if reasons is None else reasons.proposals
        return {
            "reason": "no steady ripple" if reasons is None else UNSTABLE,
            "proposals": [_proposal(one) for one in found],
            **({} if reasons is None else _worst(reasons)),
        }
    return {
        "load": reasons.load,
        "operating_point": reasons.point,
        "figure": reasons.figure,
        **numbers(reasons),
        "sentences": [{"text": one.text, "facts": _facts(one)} for one in reason_sentences(reasons)],
        "sources": {one.name: {"words": source_phrase(one.name)} | numbers(one) for one in reasons.sources},
        "parasitics": [texts(one, "name", "what", "element") | numbers(one) for one in reasons.parasitics],
        "bands": [texts(one, "mode", "source", "element", "what") | numbers(one) for one in reasons.bands],
        **numbers(reasons.deviation, "the filter never does worse than its formula"),
        "resonances": [texts(one, "inductive", "capacitive") | numbers(one) for one in reasons.resonances],
        "mitigations": [_mitigation(one) for one in reasons.mitigations],
        "pairs": [_mitigation(one) for one in reasons.pairs],
        "proposals": [_proposal(one) for one in reasons.proposals],
        **_worst(reasons),
    }


def _worst(reasons: ReasonsResult) -> Section:
    """What fails worst, its causes, and what an instability comes from; null where nothing fails."""
    clash = reasons.clash
    return {
        "worst": None if reasons.worst is None else failing_text(reasons.worst),
        "causes": [texts(one, "kind", "name", "what") | numbers(one) for one in reasons.causes],
        "clash": None if clash is None else texts(clash, "load") | numbers(clash),
    }


def _facts(sentence: Sentence) -> Section:
    facts: Section = {}
    for one in sentence.facts:
        put(facts, f"{one.path.replace('.', '_')}_{one.unit}", one.value, NOT_COMPUTED)
    return facts


def _proposal(one: Proposal) -> Section:
    """A judged change: what it comes to, and every requirement with it."""
    return {
        "change": one.words,
        "robust": one.robust,
        "judged": "whole" if one.whole else "first look",
        "parts": one.parts,
        "breaks": [failing_text(failing) for failing in one.broken],
        "open": [failing_text(failing) for failing in one.open],
        "requirements": [
            texts(each, "requirement", "verdict", "point") | numbers(each, "not known")
            for each in one.judgement.verdicts
        ],
    }


def _mitigation(one: Mitigation) -> Section:
    refused = refusal_text(one.refused)
    section = {"change": one.words, "kinds": list(one.kinds), "refused": refused}
    section |= numbers(one, refused or NOT_COMPUTED)
    return section if one.costs is None else section | {"parts": one.costs.parts} | numbers(one.costs)
