"""What every command takes alike: its name, words and examples, and the folder for its files."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TypeAlias

Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"


def add_command(
    commands: Commands, name: str, run: Callable[[argparse.Namespace], int], *, short: str, epilog: str, long: str = ""
) -> argparse.ArgumentParser:
    """A command that ``run`` does; ``short``: what it is for, in the list of all; ``long``: the same on its own page; ``epilog``: examples."""
    layout, about = argparse.RawDescriptionHelpFormatter, long or f"{short.capitalize()}."
    command = commands.add_parser(name, help=short, description=about, epilog=epilog, formatter_class=layout)
    command.set_defaults(run=run)
    return command


def add_folder(command: argparse.ArgumentParser, files: str) -> None:
    """The option for the folder that ``files`` go to."""
    command.add_argument("--out", metavar="FOLDER", help=f"folder for {files}; without it nothing is written")
