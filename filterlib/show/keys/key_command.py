"""The command `filterlib schema`: the keys of a design file, for editors and for people, into a folder."""

from __future__ import annotations

import argparse
from pathlib import Path

from filterlib.disk import write_text
from filterlib.errors import FilterlibError
from filterlib.show.arguments import Commands, add_command
from filterlib.show.terminal import say

EXAMPLES = """\
examples:
  filterlib schema
      writes filter-design.schema.json and design-keys.html here
  filterlib schema docs
      the same into the folder docs

The first line of a design file names the schema; editors that know TOML then complete and check as you type:
  #:schema ./filter-design.schema.json

exit codes:
  0  done
  2  no such folder
  3  the files could not be written
"""


def add_schema(commands: Commands) -> None:
    """Adds the command."""
    short = "explain every key of a design file: a schema for editors, a page for people"
    command = add_command(commands, "schema", run, short=short, epilog=EXAMPLES)
    command.add_argument("folder", metavar="FOLDER", nargs="?", default=".", help="where to; here unless given")


def run(chosen: argparse.Namespace) -> int:
    """Writes both files. Raises FilterlibError where the folder is none, OutputError where it cannot be written to."""
    from filterlib.show.keys.key_page import PAGE, key_html
    from filterlib.show.keys.schema import SCHEMA, schema_text

    folder = Path(chosen.folder)
    if not chosen.folder or not folder.is_dir():
        raise FilterlibError(f"{chosen.folder or 'a folder without a name'}: no such folder; make it first")
    for name, text in ((SCHEMA, schema_text()), (PAGE, key_html())):
        write_text(folder / name, text)
        say(f"Written: {folder / name}")
    return 0
