"""The sections of a design file in their order, each with its model and what is said of its keys in data/keys.toml."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from pydantic import BaseModel

from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.curves.measured import MeasuredCapacitor, MeasuredChoke
from filterlib.parts.reading import Toml, data_folder, read_toml
from filterlib.parts.wire import WirePair
from filterlib.system import requirements
from filterlib.system.design import Design
from filterlib.system.emission import EmissionEstimate, EmissionRequirement
from filterlib.system.file.accepted import AcceptedRating
from filterlib.system.inside.arrangement import FixtureCapacitor, Ripple, Spike, WithCapacitor
from filterlib.system.inside.burst import Burst
from filterlib.system.inside.chassis import CommonMode, NodeRing
from filterlib.system.inside.control import Control, OutputImpedance
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.input_side import InputSide
from filterlib.system.inside.output_limit import OutputLimit
from filterlib.system.inside.rating import ConverterRating
from filterlib.system.inside.ways import Bond, Supply
from filterlib.system.line.battery_side import Battery, Fuse, SupplyWire, Switch
from filterlib.system.line.clip import Clip
from filterlib.system.line.couplings import Coupling
from filterlib.system.line.load import InputCapacitor, Load, ReflectedRipple
from filterlib.system.line.profile import Profile
from filterlib.system.line.stages import KINDS, ChokeDamping
from filterlib.system.requirements import OperatingPoint

REQUIREMENTS: dict[str, type[BaseModel]] = {
    "ripple": requirements.RippleRequirement,
    "spike": requirements.SpikeRequirement,
    "voltage": requirements.VoltageRequirement,
    "drop": requirements.DropRequirement,
    "step": requirements.StepRequirement,
    "emission": EmissionRequirement,
}
SECTIONS: dict[str, type[BaseModel]] = {
    "The file itself": Design,
    "`[converter]`": Converter,
    "`[converter.ripple]`": Ripple,
    "`with_capacitor` of `[converter.ripple]`": WithCapacitor,
    "`[converter.spike]`": Spike,
    "`[converter.rating]`": ConverterRating,
    "`[converter.limit]`": OutputLimit,
    "`[converter.control]`": Control,
    "`output_impedance` of `[converter.control]`": OutputImpedance,
    "`[converter.burst]`": Burst,
    "`capacitors` of ripple and spike": FixtureCapacitor,
    "`[converter.common_mode]`": CommonMode,
    "`ring` of `[converter.common_mode]`": NodeRing,
    "`[converter.supply]`": Supply,
    "`bond` of battery, converter, load and capacitors, and `bridge`": Bond,
    **{f'`[[filter]]` with `kind = "{kind}"`': stage for kind, stage in KINDS.items()},
    "`damping` of a differential choke": ChokeDamping,
    "`[[load]]`": Load,
    "`input_capacitor` of a load, and `capacitors` of `[input_side]`": InputCapacitor,
    "`ripple` of a load": ReflectedRipple,
    "`profile` of a load": Profile,
    "`[[operating_point]]`": OperatingPoint,
    **{f'`[[requirement]]` with `kind = "{kind}"`': wanted for kind, wanted in REQUIREMENTS.items()},
    "`[[emission]]`": EmissionEstimate,
    "`[battery]`": Battery,
    "`[supply_wire]`": SupplyWire,
    "`[fuse]`": Fuse,
    "`[switch]`": Switch,
    "`[input_side]`": InputSide,
    "`[[coupling]]`": Coupling,
    "`[[accepted]]`": AcceptedRating,
    "`[clip]`": Clip,
    "A capacitor, as a `part`": Capacitor,
    "A differential choke, as a `part`": DifferentialChoke,
    "A common-mode choke, as a `part`": CommonModeChoke,
    "A wire pair, as a `part` or a `lead`": WirePair,
    "A capacitor from its measured curve, as a `part`": MeasuredCapacitor,
    "A differential choke from its measured curve, as a `part`": MeasuredChoke,
}
"""Heading -> model."""


@dataclass(frozen=True)
class KeySection:
    """One section: its ``title``, its ``model``, what stands above and below its keys, and the ``words`` of each key."""

    title: str
    model: type[BaseModel]
    about: str
    more: str
    words: Mapping[str, str]


@lru_cache(maxsize=1)
def key_sections() -> tuple[KeySection, ...]:
    """Every section in its order. Raises KeyError where data/keys.toml has none of a title."""
    told: dict[str, Toml] = {one["title"]: one for one in read_toml(data_folder() / "keys.toml")["section"]}
    return tuple(
        KeySection(title, model, told[title].get("about", ""), told[title].get("more", ""), told[title]["keys"])
        for title, model in SECTIONS.items()
    )


def words_of(model: type[BaseModel]) -> Mapping[str, str]:
    """What each key of a model is; nothing for a model that no section is about."""
    return next((one.words for one in key_sections() if one.model is model), {})
