"""`python -m tests.faults`: the faults at full length: what each command writes, at every call; 200 kills; four writers for a minute.

Prints a line for each; raises where a reader would find no whole run.
"""

import argparse
import contextlib
import io
import json
import os
import tempfile
import time
from importlib import import_module
from pathlib import Path
from unittest import mock

from filterlib import cli
from filterlib.parts.tables import data_folder
from filterlib.show.folder import run_of, write_files
from tests.faults import injected
from tests.faults.test_folder_under_faults import at_once, kills, with_others
from tests.faults.test_writer_machine import machine
from tests.fuzz.sweep import RARE, text_of

DATA = data_folder()
BOARD, BRICK = (str(DATA / "designs" / f"tide-gauge-{name}.toml") for name in ("clean", "brick"))
PULSED = "pulsed.toml"  # a design with bursts, written beside the results
COMMANDS = {
    "part": ["part", "ceramic", "class2-2u2-50V-1206"],
    "recording": ["recording", str(sorted((DATA / "recordings").glob("*.csv"))[0])],
    "verify": ["verify", BOARD],
    "review": ["review", BOARD],
    "compare": ["compare", BOARD, BRICK],
    "damp": ["damp", BOARD],
    "bank": ["bank", PULSED],
    "bench": ["bench", BOARD, "--reading", "modem 20MHz 5 mV"],
    "pages": ["pages"],
}
WRITERS = {
    "recording": "recording_page", "review": "report", "damp": "damping.damp_files", "bank": "bank.bank_page", "bench": "bench_page.answer_page",
}  # fmt: skip


def captured(command, folder):
    """What a command gives the writer: its files and the name of the last one."""
    module = import_module(f"filterlib.show.{WRITERS.get(command, command)}")
    folder.parent.joinpath("pulsed.toml").write_text(text_of(RARE), encoding="utf-8")
    arguments = [str(folder.parent / one) if one == PULSED else one for one in COMMANDS[command]]
    with mock.patch.object(module, "write_files") as writer, contextlib.redirect_stdout(io.StringIO()):
        cli.main([*arguments, "--out", str(folder)])
    return writer.call_args.args[1], writer.call_args.kwargs["last"]


def run_in(folder, last):
    """The run in a folder. Raises AssertionError where a file of it is missing or another's."""
    listed = json.loads((folder / last).read_text())
    ours = {str(p.relative_to(folder)) for p in folder.rglob("*") if not p.is_dir() and run_of(p)}
    assert ours == set(listed["files"])
    assert {run_of(folder / name) for name in ours} == {listed["run"]}
    return listed["run"]


def command_under(fault, files, last, folder, step):
    old = write_files(folder, files, last=last)
    files = {
        name: text for name, text in files.items() if run_of(folder / name)
    }  # what a person fills in is written once
    first = next(name for name in files if name != last)
    results = [0, 0]

    def work(at):
        write_files(folder, files | {first: files[first] + f"<!-- {at} -->"}, last=last)

    for _, code in injected.at_every_call(work, fault, step):
        now = run_in(folder, last)
        assert (now == old) == (code in (injected.REFUSED,)) or code == injected.KILLED, code
        results[now != old] += 1
        old = now
    assert not list(folder.parent.glob(".*"))
    return results


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.faults")
    parser.add_argument("--commands", default=",".join(COMMANDS), help="which commands")
    parser.add_argument("--step", type=int, default=1, help="a fault at every call, or at every so many")
    parser.add_argument("--seconds", type=float, default=60.0, help="for four writers at once")
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--machines", type=int, default=300, help="examples of the writer driven at random")
    chosen = parser.parse_args()
    for command in filter(None, chosen.commands.split(",")):
        with tempfile.TemporaryDirectory() as place:
            files, last = captured(command, Path(place) / "out")
        for fault in (injected.fail, injected.die):
            with tempfile.TemporaryDirectory() as place, mock.patch.object(os, "fsync"):
                old, new = command_under(fault, files, last, Path(place) / "out", chosen.step)
            print(
                f"{command}, {fault.__name__} at {old + new} calls: {old} left the old run, {new} the new one",
                flush=True,
            )
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "out"
        others = with_others(folder)
        kills(folder, others, chosen.kills)
        print(f"{chosen.kills} random kills: one whole run after each", flush=True)
        found, codes = at_once(folder, 4, chosen.seconds)
        assert set(codes) == {0}
        print(
            f"four writers at once for {chosen.seconds:g} s: a reader found {len(found)} runs, each whole", flush=True
        )
    start = time.perf_counter()
    with mock.patch.object(os, "fsync"):
        machine(chosen.machines, 30)
    print(f"{chosen.machines} random ways of 30 steps: {time.perf_counter() - start:.0f} s", flush=True)


if __name__ == "__main__":
    main()
