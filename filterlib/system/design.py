"""A design: converter, filter, loads, operating points and requirements; and the circuit that they make."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any, ClassVar, Literal, Self, TypeVar, cast

import numpy as np
from pydantic import BaseModel, BeforeValidator, Field, StrictBool, model_validator

from filterlib.errors import FilterlibError, Problem, did_you_mean
from filterlib.network.circuit import Circuit
from filterlib.parts.base import Part, Quantity
from filterlib.parts.values import Value, Values
from filterlib.system.dc import Unsolved, dc_state
from filterlib.system.emission import EmissionEstimate
from filterlib.system.file.accepted import AcceptedRating
from filterlib.system.file.consistency import named, problems_across
from filterlib.system.inside.converter import PLUS, RETURN, Converter
from filterlib.system.inside.input_side import InputSide
from filterlib.system.inside.ways import CHASSIS, INSULATION
from filterlib.system.keys import elsewhere
from filterlib.system.line.battery_side import Battery, BatterySide, Fuse, SupplyWire, Switch
from filterlib.system.line.clip import Clip
from filterlib.system.line.couplings import Coupling, couple, with_neighbours
from filterlib.system.line.load import Load
from filterlib.system.line.shared_capacitor import following
from filterlib.system.line.stages import AcrossLines, AnyStage, ChassisCapacitor, add_filter
from filterlib.system.model import Given, Model, Name, Note, Title
from filterlib.system.ranges.places import path, rebuilt
from filterlib.system.ranges.ranged import Ranged
from filterlib.system.requirements import OperatingPoint, Requirement
from filterlib.system.state import State

_Named = TypeVar("_Named", Load, OperatingPoint)
_LOAD_END = ("load_plus", "0")


def _format(raw: object) -> object:
    if type(raw) is not int or raw != 1:
        raise ValueError("this program reads format 1; write the number 1, or leave the key out")
    return raw


class Design(Model):
    """Everything that a review needs, frozen; `replace` makes another one.

    Fields: ``format`` (1), ``name``, ``note``, ``converter``, ``filter`` (stages from converter to load), ``loads``,
    ``operating_points``, ``requirements``, ``battery``, ``supply_wire``, ``fuse``, ``switch`` (what feeds the converter), ``input_side`` (of the converter, for its emission), ``emissions`` (that are to
    be estimated), ``couplings`` (stated ones), ``has_chassis`` (``chassis`` in the file; False in a plastic box),
    ``accepted`` (ratings that may be exceeded), ``insulation`` [ohm] of the chassis, ``clip`` (of an earthed oscilloscope), ``service_life`` [s] that parts are asked
    for, ``tables`` (paths of part tables that were read).
    """

    ELSEWHERE: ClassVar[Mapping[str, str]] = elsewhere.DESIGN

    format: Annotated[Literal[1], BeforeValidator(_format)] = 1
    name: Title
    note: Note = ""
    converter: Converter
    filter: tuple[AnyStage, ...] = ()
    loads: Annotated[tuple[Load, ...], Field(alias="load", min_length=1)]
    operating_points: tuple[OperatingPoint, ...] = Field((OperatingPoint(),), alias="operating_point", min_length=1)
    requirements: tuple[Requirement, ...] = Field((), alias="requirement")
    battery: Battery | None = None
    supply_wire: SupplyWire | None = None
    fuse: Fuse | None = None
    switch: Switch | None = None
    input_side: InputSide | None = None
    emissions: tuple[EmissionEstimate, ...] = Field((), alias="emission")
    couplings: tuple[Coupling, ...] = Field((), alias="coupling")
    accepted: tuple[AcceptedRating, ...] = ()
    has_chassis: StrictBool = Field(True, alias="chassis")
    clip: Clip | None = None
    insulation: Annotated[Value, Quantity("ohm", low=1e3, high=1e15)] = INSULATION
    service_life: Annotated[float, Quantity("s", low=3600, high=5e9)] | None = None
    tables: tuple[str, ...] = ()

    model_config = Model.model_config | {"populate_by_name": True}

    @model_validator(mode="before")
    @classmethod
    def _name_stages(cls, raw: Given) -> Given:
        return {**raw, "filter": named(raw["filter"])} if isinstance(raw.get("filter"), list | tuple) else raw

    @model_validator(mode="after")
    def _measured_with_its_loads(self) -> Self:
        """They are the converter's from here on: a load that is changed later was not on the line while one measured."""
        if self.driven and not self.converter.measured_with:
            self.__dict__["converter"] = self.converter.model_copy(update={"measured_with": self.loads})
        elif not self.driven and self.converter.measured_with == self.loads:  # nothing to convert: as a file has it
            self.__dict__["converter"] = self.converter.model_copy(update={"measured_with": ()})
        return self

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        yield from problems_across(fields)

    @property
    def chassis(self) -> bool:
        """True where something reaches the chassis."""
        return (
            self.converter.reaches_chassis
            or any(stage.reaches_chassis for stage in self.filter)
            or any(load.reaches_chassis for load in self.loads)
            or self.clip is not None
        )

    @property
    def driven(self) -> bool:
        """True where something drives current through the chassis: strays and imbalances then matter."""
        return self.converter.common_mode is not None

    @property
    def battery_side(self) -> BatterySide:
        """What feeds the converter, with defaults for what is not stated."""
        return BatterySide(
            self.battery or Battery(), self.supply_wire or SupplyWire(), self.fuse or Fuse(), self.switch or Switch()
        )

    @property
    def states_battery_side(self) -> bool:
        """True where the file says anything of what feeds the converter."""
        return any(one is not None for one in (self.battery, self.supply_wire, self.fuse, self.switch))

    @property
    def full_current(self) -> float:
        """Current [A] of all loads at their full draw and the nominal voltage."""
        volts = self.converter.output_voltage
        return float(sum(np.mean(load.draws(volts, 1.0)) for load in self.loads))

    @property
    def attached_capacitance(self) -> float:
        """Capacitance [F] across the lines outside the converter: of the filter and at the loads."""
        fitted = [one for one in self.filter if isinstance(one, AcrossLines)]
        own = [load.input_capacitor for load in self.loads if load.input_capacitor is not None]
        return float(sum(np.max(one.part.capacitance) * one.count for one in (*fitted, *own)))

    @property
    def chassis_capacitors(self) -> tuple[ChassisCapacitor, ...]:
        """The Y capacitors of the filter."""
        return tuple(one for one in self.filter if isinstance(one, ChassisCapacitor))

    @property
    def all_couplings(self) -> tuple[Coupling, ...]:
        """Stated couplings, and defaults between the loops of neighbouring capacitors that state none."""
        return with_neighbours(self.couplings, self.filter)

    def named_load(self, name: str) -> Load:
        """The load of that name. Raises FilterlibError with the nearest one."""
        return _by_name(self.loads, name, "load")

    def point(self, name: str) -> OperatingPoint:
        """The operating point of that name. Raises FilterlibError with the nearest one."""
        return _by_name(self.operating_points, name, "operating point")

    def circuit(self, operating: State | str | None = None) -> Circuit:
        """The linear circuit at an operating point: a `State`, a point's name, or None for the first point.

        Sources: "regulated" and "ripple" [V], "common_mode" [V] where there is one, "NAME.current" [A] of each load,
        and "converter.input_current" [A] (DC) where input and output share their return and the battery is bonded.
        Raises FilterlibError for an unknown point, with the nearest, and OperatingError where a load cannot be fed.
        """
        return self.build(self.state(operating))

    def state(self, operating: State | str | None = None) -> State:
        """The DC state of an operating point: a `State` as it is, a point's name, or None for the first point.

        Raises FilterlibError for an unknown point, with the nearest, and OperatingError where a load cannot be fed.
        """
        if isinstance(operating, State):
            return operating
        unsolved = self.unsolved(operating)
        return dc_state(self, unsolved.circuit, unsolved.start)

    def unsolved(self, operating: str | None = None) -> Unsolved:
        """What the DC state of an operating point is solved of. Raises FilterlibError for an unknown point."""
        point = self.operating_points[0] if operating is None else self.point(operating)
        start = point.start(self.converter.output_voltage, [load.name for load in self.loads])
        inputs = [name for load in self.loads for name in load.input_branches]
        return Unsolved(self, self.build(start).opened(inputs), start)

    def build(self, state: State, *, filtered: bool = True, converter: bool = True) -> Circuit:
        """The circuit at a state, and in other arrangements: without filter, without converter."""
        circuit = Circuit()
        if converter:
            self.converter.add(circuit)
        add_filter(circuit, self.filter if filtered else (), (PLUS, RETURN), _LOAD_END, state)
        for load in self.loads:
            load.add(circuit, state, stray=converter and self.driven)
        if self.clip is not None:
            self.clip.add(circuit, self.clip.port(self.loads)[1])
        if filtered:
            couple(circuit, self.all_couplings, self.filter)
        names = {node for element in circuit.elements for node in element.nodes}
        if CHASSIS in names:
            circuit.resistor("insulation", CHASSIS, "0", self.insulation)
        return circuit


def _by_name(items: Sequence[_Named], name: str, what: str) -> _Named:
    for item in items:
        if item.name == name:
            return item
    raise FilterlibError(f'no {what} "{name}"; {did_you_mean(name, [item.name for item in items])}')


def with_values(design: Design, values: Values) -> Design:
    """The design with other values under the keys of `uncertain_parameters`: floats, or arrays (designs, 1).

    Not checked again, so that many designs cost little. Keys of the input side are passed over: `InputSide.at` takes them.
    Raises FilterlibError for another key that leads nowhere.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> filterlib.value(filterlib.with_values(design, {"converter.duty": 0.5}), "converter.duty")
    0.5
    """
    design = design.model_copy(update={"couplings": design.all_couplings})
    known = following(design.converter, design.filter, values)
    places = {path(design, key): value for key, value in known.items() if not key.startswith("input_side.")}
    return cast(Design, rebuilt(design, places, _unchecked))


def _unchecked(model: BaseModel, values: dict[str, Any]) -> BaseModel:
    """A model with other values as they are; a range keeps its ends. Parts check theirs: that costs little."""
    old = {name: getattr(model, name) for name in values}
    new = {name: old[name].at(one) if isinstance(old[name], Ranged) else one for name, one in values.items()}
    if isinstance(model, Part):  # what is assumed of it stays as it is, whatever it was assumed from
        return model.replace(**{name: one.value for name, one in model.assumed.items()} | new)
    return model.model_copy(update=new)


__all__ = ["Coupling", "Design", "Name"]
