"""The JSON schema of a design file, from the models: editors that know TOML complete and check by it as one types."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TypeAlias, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from filterlib.parts.base import Curve, Part, Quantity
from filterlib.show.keys.key_rows import Row, choices_of, kinds_of, marks, rows
from filterlib.show.keys.key_sections import REQUIREMENTS
from filterlib.system.design import Design
from filterlib.system.inside.arrangement import Bandwidth
from filterlib.system.inside.burst import LoadThresholdField
from filterlib.system.inside.recorded import RecordingField
from filterlib.system.line.stages import KINDS
from filterlib.system.ranges.ranged import RangedQuantity

SCHEMA = "filter-design.schema.json"
"""Name of the file, as the first line of a design file has it."""
_NUMBER = r"^\s*[-+\u2212]?[.0-9]"  # how text begins that is a quantity
Schema: TypeAlias = dict[str, object]
_NUMBER_OR_TEXT: list[Schema] = [{"type": "number"}, {"type": "string", "pattern": _NUMBER}]
_QUANTITY: Schema = {"anyOf": _NUMBER_OR_TEXT}
_RANGED: Schema = {
    "anyOf": [
        *_NUMBER_OR_TEXT,
        {
            "type": "object",
            "properties": dict.fromkeys(("value", "low", "high"), _QUANTITY),
            "required": ["low", "high"],
            "additionalProperties": False,
        },
    ]
}
_CURVE: Schema = {
    "type": "array",
    "minItems": 2,
    "items": {"type": "array", "minItems": 2, "maxItems": 2, "items": _QUANTITY},
}
_RECORDING: Schema = {"anyOf": [{"type": "string"}, {"type": "object", "required": ["file"]}]}
_MARKS: tuple[tuple[type, Schema], ...] = (
    (RangedQuantity, _RANGED),
    (Quantity, _QUANTITY),
    (Curve, _CURVE),
    (RecordingField, _RECORDING),
    (Bandwidth, {"type": ["number", "string"]}),
    (LoadThresholdField, {"type": "string"}),
)
_PLAIN = ((bool, "boolean"), (int, "integer"), (str, "string"))


def schema() -> Schema:
    """The schema, draft 2020-12: every table of a design file with its keys, each with its words, unit, default and example."""
    defined: Schema = {}
    whole = _table(Design, defined)
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "filterlib design file"}
    return head | whole | {"$defs": defined}


def schema_text() -> str:
    """The schema as JSON."""
    return json.dumps(schema(), ensure_ascii=False, indent=1) + "\n"


def _table(model: type[BaseModel], defined: Schema) -> Schema:
    """A table of a model: the tables in it go to ``defined``."""
    told = {row.key: row for row in rows(model)}
    named = {field.alias or name: field for name, field in model.model_fields.items()}
    found = {key: _value(named[key], defined) | _told(row) for key, row in told.items()}
    needed = [key for key, row in told.items() if row.default == "needed" and not _left_out(model, key)]
    return {"type": "object", "properties": found, "required": needed, "additionalProperties": False}


def _left_out(model: type[BaseModel], key: str) -> bool:
    """The figure of a ripple, which a recording may stand for."""
    return key == "peak_to_peak" and "recording" in model.model_fields


def _told(row: Row) -> Schema:
    unit = f" [{row.unit}]" if row.unit != "-" else ""
    default = "" if row.default in ("-", "needed") else f" Default: {row.default}."
    limits = f" {row.limits}." if row.limits != "-" else ""
    example = f" Example: {row.example}" if row.example != "-" else ""
    return {"description": f"{row.words.replace('`', '')}{unit}.{default}{limits}{example}"}


def _value(field: FieldInfo, defined: Schema) -> Schema:
    """What a field may hold."""
    choices = choices_of(field)
    if choices:
        return {"enum": choices}
    for mark in marks(field):
        for kind, shape in _MARKS:
            if isinstance(mark, kind):
                return (
                    {"type": "object", "additionalProperties": shape} if get_origin(field.annotation) is dict else shape
                )
    models = _models(field.annotation)
    if models:
        return _tables(models, defined, many=get_origin(field.annotation) is tuple)
    if get_origin(field.annotation) is tuple:
        return {"type": "array", "items": {"type": "string"}}
    kinds = kinds_of(field)
    return next(({"type": name} for kind, name in _PLAIN if kind in kinds), {})


def _models(annotation: object) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in get_args(annotation) for model in _models(inner)]


def _tables(models: list[type[BaseModel]], defined: Schema, *, many: bool) -> Schema:
    """One table, or several of which the ``kind`` tells; a part may be its name instead."""
    one: Schema
    if issubclass(models[0], Part):
        one = {"anyOf": [{"type": "string"}, *(_defined(model, defined) for model in _of_parts(models[0]))]}
    elif len(models) == 1:
        one = _defined(models[0], defined)
    else:
        one = _by_kind(models, defined)
    return {"type": "array", "items": one} if many else one


def _of_parts(wanted: type[Part]) -> list[type[Part]]:
    """The part itself, and the one of its kind that is measured."""
    return [wanted, *(one for one in wanted.__subclasses__() if one.__module__.startswith("filterlib."))]


def _by_kind(models: list[type[BaseModel]], defined: Schema) -> Schema:
    """A table that the key ``kind`` decides: editors then complete the keys of that kind alone."""
    names: Mapping[str, type[BaseModel]] = {**KINDS, **REQUIREMENTS}
    kinds = {name: model for model in models for name, known in names.items() if known is model}
    cases = [
        {
            "if": {"properties": {"kind": {"const": kind}}, "required": ["kind"]},
            "then": _defined(model, defined),
        }
        for kind, model in kinds.items()
    ]
    return {"type": "object", "properties": {"kind": {"enum": list(kinds)}}, "required": ["kind"], "allOf": cases}


def _defined(model: type[BaseModel], defined: Schema) -> Schema:
    name = model.__name__
    if name not in defined:
        defined[name] = {}  # it may hold itself
        defined[name] = _table(model, defined)
    return {"$ref": f"#/$defs/{name}"}
