"""Every panel of the notebooks, by the notebook and its place there."""

from __future__ import annotations

from filterlib.show.explore.bank_panel import bank_panel
from filterlib.show.explore.bench_panel import bench_panel
from filterlib.show.explore.common_mode import common_mode_panel
from filterlib.show.explore.damping_panel import damping_panel
from filterlib.show.explore.emission_panel import emission_panel
from filterlib.show.explore.lessons import REVIEW
from filterlib.show.explore.parts.capacitor_panel import one_panel, pair_panel
from filterlib.show.explore.parts.choke_panel import choke_panel
from filterlib.show.explore.parts.insertion_panel import insertion_panel
from filterlib.show.explore.parts.one_part import budget_panel
from filterlib.show.explore.pi_filter import pi_panel
from filterlib.show.explore.plug_panel import plug_panel
from filterlib.show.explore.ringing_panel import ringing_panel
from filterlib.show.explore.two_converters import causes_panel

MAKERS = {
    "01 one capacitor": one_panel,
    "01 two capacitors": pair_panel,
    "02 choke": choke_panel,
    "03 pi filter": pi_panel,
    "04 insertion loss": insertion_panel,
    "05 review": lambda: pi_panel(lesson=REVIEW),
    "06 causes": causes_panel,
    "06 one part more": budget_panel,
    "07 common mode": common_mode_panel,
    "08 emission": emission_panel,
    "09 ringing": ringing_panel,
    "10 damping": damping_panel,
    "13 before and after": bench_panel,
    "11 plug": plug_panel,
    "12 bank": bank_panel,
}
