"""The reasons' numbers for results.json."""

from __future__ import annotations

from typing import Any

from filterlib.show.numbers import put
from filterlib.words.labels import source_phrase
from filterlib.words.reason_sentences import Sentence, failure_text, reason_sentences, refusal_text
from filterlib.words.stability_sentences import UNSTABLE


def reasons_section(found: Any) -> dict[str, Any]:
    """Reasons for results.json; why there are none where there are none."""
    if found is None or not found.stable:
        return {"reason": "no steady ripple" if found is None else UNSTABLE}
    section: dict[str, Any] = {"load": found.load, "operating_point": found.point, "figure": found.figure}
    for name in ("ripple", "spike", "ripple_before", "spike_before", "ripple_ideal", "spike_ideal"):
        put(section, f"{name}_pp_V", getattr(found, name), "not computed")
    for name in ("fundamental", "fundamental_ideal"):
        put(section, f"{name}_amplitude_V", getattr(found, name), "not computed")
    section["sentences"] = [{"text": one.text, "facts": _facts(one)} for one in reason_sentences(found)]
    section["sources"] = {one.name: _source(one) for one in found.sources}
    section["parasitics"] = [_imperfection(one) for one in found.parasitics]
    section["bands"] = [_band(one) for one in found.bands]
    put(section, "parting_Hz", found.deviation.frequency, "the filter never does worse than its formula")
    section["resonances"] = [_resonance(one) for one in found.resonances]
    section["mitigations"] = [_remedy(one) for one in found.mitigations]
    section["pairs"] = [_remedy(one) for one in found.pairs]
    return section


def _facts(sentence: Sentence) -> dict[str, Any]:
    facts: dict[str, Any] = {}
    for one in sentence.facts:
        put(facts, f"{one.path.replace('.', '_')}_{one.unit}", one.value, "not computed")
    return facts


def _source(one: Any) -> dict[str, Any]:
    section: dict[str, Any] = {"words": source_phrase(one.name)}
    for name in ("ripple_alone", "ripple_falls", "spike_alone", "spike_falls"):
        put(section, f"{name}_pp_V", getattr(one, name), "not computed")
    put(section, "rms_V", one.rms, "not computed")
    return section


def _imperfection(one: Any) -> dict[str, Any]:
    section: dict[str, Any] = {"name": one.name, "what": one.what, "element": one.element}
    for name in ("ripple", "spike", "ripple_falls", "spike_falls"):
        put(section, f"{name}_pp_V", getattr(one, name), "not computed")
    put(section, "fundamental_amplitude_V", one.fundamental, "not computed")
    return section


def _band(one: Any) -> dict[str, Any]:
    section: dict[str, Any] = {name: getattr(one, name) for name in ("mode", "source", "element", "what")}
    for name in ("low", "high"):
        put(section, f"{name}_Hz", getattr(one, name), "not computed")
    for name in ("rms", "differential", "common", "without", "formula"):
        put(section, f"{name}_V", getattr(one, name), "not computed")
    return section


def _resonance(one: Any) -> dict[str, Any]:
    section: dict[str, Any] = {"inductive": one.inductive, "capacitive": one.capacitive}
    for name, unit in (
        ("frequency", "Hz"),
        ("height", "dB"),
        ("inductive_share", "ratio"),
        ("capacitive_share", "ratio"),
    ):
        put(section, f"{name}_{unit}", getattr(one, name), "not computed")
    return section


def _remedy(one: Any) -> dict[str, Any]:
    refused = refusal_text(one.refused)
    section: dict[str, Any] = {"change": one.words, "kinds": list(one.kinds), "refused": refused}
    for name in ("ripple", "spike"):
        put(section, f"{name}_pp_V", getattr(one, name), refused or "not computed")
        put(section, f"{name}_high_pp_V", getattr(one, f"{name}_high"), "only the best are tried over the uncertainty")
    section |= {"checked": one.checked, "holds": one.holds, "fails_at": failure_text(one.fails)}
    if one.costs is not None:
        section["parts"] = one.costs.parts
        for name, unit in (("drop", "V"), ("heat", "W"), ("leakage", "A"), ("charge", "C"), ("peak", "dB")):
            put(section, f"{name}_{unit}", getattr(one.costs, name), "not computed")
        put(section, "peak_Hz", one.costs.peak_frequency, "not computed")
    return section
