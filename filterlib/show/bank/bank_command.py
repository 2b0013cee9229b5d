"""The command `filterlib bank`: the capacitors that carry a load's bursts."""

from __future__ import annotations

import argparse
from dataclasses import replace

from filterlib.show.arguments import Commands, add_command, add_folder
from filterlib.show.terminal import about, say

EXAMPLES = """\
examples:
  filterlib bank tide-gauge.toml
      says which capacitors carry the bursts of every load that has a profile
  filterlib bank tide-gauge.toml --out bank
      also writes bank/bank.html, bank.json and the figures

in the design file, at a load:
  profile = { idle = "15 %", burst = "5 ms", period = "2 s", lowest_voltage = "22 V" }
and what the converter can give:
  [converter.rating]
  output_current = "3 A"

a bank is sized with a Schottky diode that keeps it from feeding back; the page also shows an ideal diode, and none

exit codes of bank:
  0  every burst is carried, by the converter alone or by a bank that is named
  1  a burst is not carried by any
  2  the input was refused
  3  the output could not be written
"""


def add_bank(commands: Commands) -> None:
    """Adds the command and its options."""
    command = add_command(
        commands, "bank", _bank, epilog=EXAMPLES,
        short="find the capacitors that carry a load's bursts",
        long="Find the capacitor bank that carries the bursts of a load which the converter alone cannot.",
    )  # fmt: skip
    command.add_argument("design", metavar="DESIGN.toml", help="the design file; a load of it has a profile")
    add_folder(command, "bank.html, bank.json and the figures")


def _bank(chosen: argparse.Namespace) -> int:
    from filterlib import load_design
    from filterlib.analysis.hold_up.bank_result import Bursts
    from filterlib.analysis.hold_up.burst_bank import bank_problems
    from filterlib.analysis.hold_up.burst_review import bursts
    from filterlib.errors import InputError
    from filterlib.show.bank.bank_page import bank_text, write_bank

    with about(chosen.design):
        design = load_design(chosen.design)
        if problems := [replace(one, file=chosen.design) for one in bank_problems(design)]:
            raise InputError(problems)
        found = bursts(design) or Bursts()
        page = write_bank(design, found, chosen.out) if chosen.out is not None else None
    say(bank_text(found))
    say("Figures: give --out FOLDER" if page is None else f"Page: {page}")
    return 0 if all(result.holds for result in found.banks) else 1
