"""What is wrong with the fields of a model, as problems that a person can act on: each with its key, its value, and what would be right."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from filterlib.errors import InputError, Problem, QuantityError, did_you_mean

_MOST_DETAILS = 200  # faults of one model that are looked at

_WORDS = {
    "string_type": "text in quotes is needed here",
    "string_too_short": "text is needed here, not an empty one",
    "bool_type": "true or false is needed here, without quotes",
    "bool_parsing": "true or false is needed here, without quotes",
    "int_type": "a whole number is needed here",
    "int_parsing": "a whole number is needed here",
    "int_from_float": "a whole number is needed here",
    "float_type": "a number is needed here",
    "float_parsing": "a number is needed here",
    "finite_number": "a finite number is needed here",
    "list_type": "a list in [square brackets] is needed here",
    "tuple_type": "a list in [square brackets] is needed here",
    "dict_type": "a table of keys and values is needed here",
    "model_type": "a table of keys and values is needed here",
    "model_attributes_type": "a table of keys and values is needed here",
    "greater_than": "must be above {gt}",
    "greater_than_equal": "must be at least {ge}",
    "less_than": "must be below {lt}",
    "less_than_equal": "must be at most {le}",
    "too_short": "needs at least {min_length} entries and has {actual_length}",
    "too_long": "may have {max_length} entries and has {actual_length}",
    "string_too_long": "may be {max_length} characters long",
    "string_pattern_mismatch": "has a character that cannot be here",
}


def problems_from(
    error: ValidationError, file: str, prefix: str = "", *, model: type[BaseModel] | None = None
) -> tuple[Problem, ...]:
    """What pydantic found wrong, as problems that a person can act on.

    Parameters
    ----------
    error : ValidationError
        As raised by a model.
    file : str
        The file that the values came from.
    prefix : str
        The key of the model in that file.
    model : type of BaseModel, optional
        The model that was validated: an unknown key then gets the nearest valid one, a missing one its unit.

    Returns
    -------
    tuple of Problem
        In the order of the file's keys as pydantic met them. Lists count from 1: ``stage[2]`` is the second one.
    """
    details = error.errors(include_url=False)[:_MOST_DETAILS]
    return tuple(p for one in details if not _follows(one, details) for p in _problems(one, file, prefix, model))


def _follows(detail: ErrorDetails, details: list[ErrorDetails]) -> bool:
    """True for what only follows from another: a default that needs a wrong value, a list whose entries are wrong."""
    below = (other for other in details if len(other["loc"]) > len(detail["loc"]))
    return detail["type"] == "default_factory_not_called" or (
        detail["type"] == "too_short" and any(other["loc"][: len(detail["loc"])] == detail["loc"] for other in below)
    )


def _problems(detail: ErrorDetails, file: str, prefix: str, model: type[BaseModel] | None) -> Iterator[Problem]:
    cause = (detail.get("ctx") or {}).get("error")
    key, models = _key(prefix, detail, model)
    if isinstance(cause, InputError):
        for inner in cause.problems:
            yield Problem(file, _join(key, inner.key), inner.value, inner.why)
    elif isinstance(cause, QuantityError):
        if cause.name:
            yield Problem(file, _join(key, cause.name), cause.value, cause.why)
        else:
            yield Problem(file, key, detail["input"], cause.why)
    elif detail["type"].startswith("union_tag"):
        tag = str((detail.get("ctx") or {})["discriminator"]).strip("'")
        value = detail["input"].get(tag) if isinstance(detail["input"], Mapping) else None
        yield Problem(file, _join(key, tag), value, _why(detail, models, tag))
    else:
        value = None if detail["type"] == "missing" or not detail["loc"] else detail["input"]
        yield Problem(file, key, value, _why(detail, models, str(detail["loc"][-1]) if detail["loc"] else ""))


def _why(detail: ErrorDetails, models: list[type[BaseModel]], key: str) -> str:
    kind, context = detail["type"], detail.get("ctx") or {}
    if kind == "missing":
        return f"missing: {_needed(models, key)}"
    if kind == "extra_forbidden":
        elsewhere = (getattr(model, "ELSEWHERE", {}).get(key) for model in models)
        return f"unknown key; {next(filter(None, elsewhere), None) or did_you_mean(key, _fields(models))}"
    if kind == "union_tag_not_found":
        return f"missing: it says what this is; {did_you_mean('', _choices(models, key))}"
    if kind in ("literal_error", "enum", "union_tag_invalid"):
        valid = re.findall(r"'([^']*)'", str(context.get("expected", "")) + str(context.get("expected_tags", "")))
        return f"not one of the choices; {did_you_mean(str(context.get('tag', detail['input'])), valid)}"
    if "error" in context:
        return str(context["error"])
    return _WORDS[kind].format(**context) if kind in _WORDS else detail["msg"]


def _needed(models: list[type[BaseModel]], key: str) -> str:
    """What should be where there is nothing."""
    units = [mark.unit for model in models for mark in _metadata(model, key) if hasattr(mark, "unit")]
    if units:
        return f"a quantity in {units[0]} is needed" if units[0] else "a ratio or a percentage is needed"
    annotations = [_field(model, key).annotation for model in models if key in _fields([model])]
    tables = any(_models_in(annotation) for annotation in annotations)
    if any(get_origin(annotation) is tuple for annotation in annotations):
        return (
            f"at least one is needed, each under a line [[{key}]]"
            if tables
            else "a list in [square brackets] is needed"
        )
    if tables:
        return "a table of keys and values is needed"
    choices = _choices(models, key)
    return f"one of {', '.join(choices)} is needed" if choices else "text in quotes is needed"


def _choices(models: Iterable[type[BaseModel]], key: str) -> list[str]:
    """The texts that a field of these models may hold, where there is a choice."""
    fields = [_field(model, key) for model in models if key in _fields([model])]
    return [c for field in fields if get_origin(field.annotation) is Literal for c in get_args(field.annotation)]


def _key(prefix: str, detail: ErrorDetails, model: type[BaseModel] | None) -> tuple[str, list[type[BaseModel]]]:
    """The key as written in the file, and the models one of whose fields its last word should be."""
    key, models, inner = prefix, [model] if model else [], [model] if model else []
    steps, kind = list(detail["loc"]), detail["type"]
    unwritten = len(steps) - (kind in ("missing", "extra_forbidden"))  # a tag is before these keys, never in place
    for place, step in enumerate(steps):
        if isinstance(step, int):
            key += f"[{step + 1}]"
            continue
        models = inner
        known = [one for one in models if step in _fields([one])]
        tagged = len(models) > 1 and any(_has_tag(one, step) for one in models)  # it may be a key of another one too
        if models and (tagged or not known) and place < unwritten:
            inner = _tagged(models, step)  # the tag of a union, which is not written in the file as a key
            continue
        key = _join(key, step)
        inner = [one for holder in known for one in _models_in(_field(holder, step).annotation)]
    return key, inner if kind.startswith("union_tag") else models


def _join(prefix: str, key: str) -> str:
    return f"{prefix}.{key}" if prefix and key else prefix or key


def _fields(models: Iterable[type[BaseModel]]) -> set[str]:
    return {field.alias or name for model in models for name, field in model.model_fields.items()}


def _field(model: type[BaseModel], key: str) -> FieldInfo:
    return next(field for name, field in model.model_fields.items() if key in (field.alias or name,))


def _metadata(model: type[BaseModel], key: str) -> Iterable[object]:
    return _field(model, key).metadata if key in _fields([model]) else ()


def _tagged(models: list[type[BaseModel]], tag: str) -> list[type[BaseModel]]:
    """Those models that the tag of a union names: by class, or by the only choices that one of their fields allows."""
    return [model for model in models if _has_tag(model, tag)] or models


def _has_tag(model: type[BaseModel], tag: str) -> bool:
    return model.__name__ == tag or any(tag in get_args(field.annotation) for field in model.model_fields.values())


def _models_in(annotation: object) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in get_args(annotation) for model in _models_in(inner)]
