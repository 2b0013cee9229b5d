"""The command `filterlib damp`: damping branches for a design, ranked, each as a design file."""

from __future__ import annotations

import argparse

from filterlib.show.arguments import Commands, add_command, add_folder
from filterlib.show.command_help import CODES
from filterlib.show.terminal import ProgressLine, about, say

EXAMPLES = f"""\
examples:
  filterlib damp tide-gauge.toml
      prints dampings of parts in the tables, the best first, with what each costs
  filterlib damp tide-gauge.toml --out damping
      and writes each as a design file, and damping/damp.json
{CODES}"""


def add_damp(commands: Commands) -> None:
    """Adds the command and its options."""
    short = "propose damping: which resistor with which capacitor or second choke, what it costs, each as a design file"
    command = add_command(commands, "damp", _damp, short=short, epilog=EXAMPLES)
    command.add_argument("design", metavar="DESIGN.toml", help="the design file")
    add_folder(command, "the design files and damp.json")


def _damp(chosen: argparse.Namespace) -> int:
    from filterlib import load_design
    from filterlib.analysis.damping.dampers import damp
    from filterlib.parts.tables import standard_tables
    from filterlib.show.damping.damp_files import damping_text, write_damping

    with ProgressLine() as progress, about(chosen.design):
        progress(0.0, f"reading {chosen.design}")
        design = load_design(chosen.design)
        parts = {name: part for table in standard_tables() for name, part in table.items()}
        result = damp(design, parts, progress=progress)
    if chosen.out is not None:
        write_damping(result, chosen.out, chosen.design)
    say(damping_text(result, chosen.out))
    return 0
