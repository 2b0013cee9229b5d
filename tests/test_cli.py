"""The command: exit codes, what it says and where, and nothing left behind when it stops."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import replace

import pytest

import filterlib
from filterlib import cli
from filterlib.errors import FilterlibError
from filterlib.parts.tables import data_folder
from filterlib.show import terminal
from filterlib.words.review.rating_sentences import stress_limit, stress_value
from filterlib.words.review.review_sentences import headline
from filterlib.words.review.verdict_sentences import requirement_finding
from tests.reviews import reviewed
from tests.show.fakes import changed

CLEAN = data_folder() / "designs" / "tide-gauge-clean.toml"


@pytest.fixture(scope="module")
def clean():
    """The demo design and its review."""
    return reviewed("clean").result


@pytest.fixture
def quick(clean, monkeypatch):
    """Let the command find this review at once; yields a function that changes it."""
    import filterlib.analysis.review as module

    def found(**changes):
        monkeypatch.setattr(
            module, "review", lambda design, *, accept="possible", progress=None: changed(clean, **changes)
        )

    found()
    return found


def run(*arguments, **options):
    command = [sys.executable, "-m", "filterlib.cli", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=120, **options)


def test_the_demo_design_passes_from_end_to_end(tmp_path):
    done = run("review", CLEAN, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert lines[0] == "✓ Met: Tide gauge, clean converter"
    assert len(lines) <= 12
    assert max(map(len, lines[:-1])) <= 100
    assert lines[-1] == f"Page: {tmp_path / 'out' / 'review.html'}"
    found = json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))
    assert found["ripple"]["load_20MHz_pp_high_V"] < 0.015
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_every_verdict_and_the_headline_are_said(quick, clean, tmp_path, capsys):
    assert cli.main(["review", str(CLEAN), "--out", str(tmp_path / "out")]) == 0
    said = capsys.readouterr()
    for verdict in clean.verdicts:
        assert requirement_finding(verdict).line in said.out
    assert headline(clean) in " ".join(said.out.split())
    assert said.err == ""


def test_an_exceeded_rating_gives_one_and_is_said_and_so_is_the_worst_margin_of_an_estimate(
    quick, clean, tmp_path, capsys
):
    """measured: the worst margin is the least of all that the result holds."""
    check = clean.points[0].stress.checks[0]
    check = replace(check, part="C11", limit=check.low / 2)
    assert check.verdict == "not met"
    quick(exceeded=(("full", check),))
    assert cli.main(["review", str(CLEAN), "--out", str(tmp_path / "out")]) == 1
    said = capsys.readouterr().out
    assert f"✗ not met       Ratings: C11: {check.what} {stress_value(check)}, {stress_limit(check)}" in said
    worst = min(margin.margin for point in clean.points for test in point.emissions for margin in test.margins)
    assert worst < 0
    assert f"⚠ estimate      Emission at the input: {-worst:.1f} dB above its limit" in said


def test_a_requirement_that_is_not_met_gives_one_and_still_a_page(quick, clean, tmp_path, capsys):
    quick(verdicts=(replace(clean.verdicts[0], verdict="not met"), *clean.verdicts[1:]))
    assert cli.main(["review", str(CLEAN), "--out", str(tmp_path / "out")]) == 1
    assert (tmp_path / "out" / "review.html").is_file()


def test_a_refused_input_gives_two_one_line_a_problem_and_no_folder(tmp_path, capsys):
    design = tmp_path / "design.toml"
    design.write_text(
        CLEAN.read_text(encoding="utf-8").replace("duty =", "dutty =").replace('"22 µF ± 20 %"', '"22 V"')
    )
    assert cli.main(["review", str(design), "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr()
    lines = said.err.splitlines()
    assert len(lines) == 2
    assert any("dutty" in line and "duty" in line for line in lines)
    assert any("output_capacitance" in line and "22 V" in line for line in lines)
    assert all(str(design) in line for line in lines)
    assert said.out == ""
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("design", ["nowhere.toml", "."])
def test_a_design_that_cannot_be_read_gives_two(tmp_path, capsys, design):
    assert cli.main(["review", str(tmp_path / design), "--out", str(tmp_path / "out")]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


@pytest.mark.parametrize("where", ["file", "file/below", "/proc/nowhere/out"])
def test_an_output_that_cannot_be_written_gives_three_and_names_the_path(quick, tmp_path, capsys, where):
    (tmp_path / "file").write_text("mine")
    assert cli.main(["review", str(CLEAN), "--out", str(tmp_path / where)]) == 3
    said = capsys.readouterr()
    assert where in said.err
    assert "Traceback" not in said.err
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


@pytest.mark.parametrize("arguments", [["review"], ["review", "a.toml"], ["revue", "a.toml", "--out", "b"]])
def test_a_wrong_command_line_gives_two(arguments, capsys):
    with pytest.raises(SystemExit) as stopped:
        cli.main(arguments)
    assert stopped.value.code == 2
    assert "usage: filterlib" in capsys.readouterr().err


def test_no_command_at_all_prints_the_help(capsys):
    assert cli.main([]) == 0
    assert "exit codes of review" in capsys.readouterr().out


def test_twenty_requirements_still_fit_a_terminal_the_worst_first(quick, clean, tmp_path, capsys):
    good, bad = (
        clean.verdicts[0],
        replace(clean.verdicts[0], verdict="not met", requirement=f"{'a long name ' * 12}at most 1 V"),
    )
    quick(verdicts=(*[good] * 20, bad))
    assert cli.main(["review", str(CLEAN), "--out", str(tmp_path / "out")]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 12
    assert max(map(len, lines[:-1])) <= 100
    assert [line.split()[:3] for line in lines if "A long name" in line] == [["✗", "not", "met"]]
    shown = sum("Ripple at modem" in line for line in lines)
    assert f"  {20 - shown} more requirements on the page" in lines  # hand: what is not shown


def test_what_cannot_be_computed_is_said_with_the_name_of_its_file(monkeypatch, tmp_path, capsys):
    import filterlib.analysis.review as module

    def refuse(design, **_):
        raise FilterlibError("load modem cannot be fed")

    monkeypatch.setattr(module, "review", refuse)
    assert cli.main(["review", str(CLEAN), "--out", str(tmp_path / "out")]) == 2
    assert capsys.readouterr().err == f"filterlib: {CLEAN}: load modem cannot be fed\n"


def test_one_problem_is_said_once(capsys):
    terminal.complain("a.toml: wrong\nb.toml: wrong\na.toml: wrong", 2)
    assert capsys.readouterr().err.splitlines() == ["filterlib: a.toml: wrong", "filterlib: b.toml: wrong"]


def test_version_and_help(capsys):
    for option, expected in (("--version", f"filterlib {filterlib.__version__}"), ("--help", "exit codes of review")):
        with pytest.raises(SystemExit) as stopped:
            cli.main([option])
        assert stopped.value.code == 0
        assert expected in capsys.readouterr().out


def test_help_loads_no_drawing_library():
    code = (
        "import sys, contextlib, io; from filterlib import cli\n"
        "with contextlib.suppress(SystemExit), contextlib.redirect_stdout(io.StringIO()): cli.main(['--help'])\n"
        "print([name for name in ('matplotlib', 'jinja2', 'rich', 'lcapy') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.strip() == "[]"


def test_a_fault_of_the_program_is_never_mistaken_for_a_verdict(monkeypatch, tmp_path, capsys):
    import filterlib.analysis.review as module

    def broken(design, *, progress=None):
        raise ZeroDivisionError("made for this test")

    monkeypatch.setattr(module, "review", broken)
    assert cli.main(["review", str(CLEAN), "--out", str(tmp_path / "out")]) == 70
    assert "fault in filterlib" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_an_interruption_leaves_the_old_results_whole(quick, tmp_path, monkeypatch, capsys):
    out = tmp_path / "out"
    cli.main(["review", str(CLEAN), "--out", str(out)])
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    quick(stored_energy=1.0)

    def interrupted(source, target):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "rename", interrupted)
    assert cli.main(["review", str(CLEAN), "--out", str(out)]) == 130
    assert capsys.readouterr().err == "filterlib: interrupted; no half-written results are left\n"
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.skipif(os.name == "nt", reason="signals differ there")
def test_an_interrupt_that_a_callback_swallows_comes_again(monkeypatch, capsys):
    monkeypatch.setattr("filterlib.show.terminal.AGAIN", 0.05)

    def swallowed(chosen):
        with suppress(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(5)
        time.sleep(5)

    monkeypatch.setattr(cli, "_part", swallowed)
    start, handler = time.monotonic(), signal.getsignal(signal.SIGINT)
    assert cli.main(["part", "film"]) == 130
    assert time.monotonic() - start < 4
    assert capsys.readouterr().err.count("\n") == 1
    assert signal.getsignal(signal.SIGINT) is handler


@pytest.mark.skipif(os.name == "nt", reason="signals differ there")
def test_control_c_in_the_middle_of_the_work(tmp_path):
    command = [sys.executable, "-m", "filterlib.cli", "review", str(CLEAN), "--out", str(tmp_path / "out")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        time.sleep(0.6)  # past the start, before the end
        process.send_signal(signal.SIGINT)
        errors = process.stderr.read()
    assert process.returncode in (130, -signal.SIGINT)  # the latter where the command itself has not begun
    assert (
        errors == "filterlib: interrupted; no half-written results are left\n" or process.returncode == -signal.SIGINT
    )
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name == "nt", reason="pipes differ there")
def test_a_reader_that_goes_away_changes_nothing(tmp_path):
    reading, writing = os.pipe()
    os.close(reading)
    command = [sys.executable, "-m", "filterlib.cli", "review", str(CLEAN), "--out", str(tmp_path / "out")]
    done = subprocess.run(command, stdout=writing, stderr=subprocess.PIPE, text=True, check=False, timeout=120)
    os.close(writing)
    assert done.returncode == 0
    assert done.stderr == ""
    assert (tmp_path / "out" / "results.json").is_file()


def test_a_terminal_without_micro_and_ohm_is_served(tmp_path):
    environment = os.environ | {"PYTHONIOENCODING": "ascii"}
    done = run("review", tmp_path / "µ.toml", "--out", tmp_path / "out", env=environment)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


class Terminal(io.StringIO):
    """Standard error that says it is a terminal."""

    def isatty(self):
        return True


def test_the_progress_line_waits_for_work_that_takes_long(monkeypatch):
    monkeypatch.setattr(sys, "stderr", Terminal())
    with terminal.ProgressLine() as line:
        line(0.1, "first [bold]words[/bold]")
        assert sys.stderr.getvalue() == ""
        line._start -= terminal.PATIENCE
        line(0.5, "first [bold]words[/bold]")
    assert "[bold]words" in sys.stderr.getvalue()
    assert "50%" in sys.stderr.getvalue()


def test_no_progress_line_where_nobody_watches(monkeypatch):
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with terminal.ProgressLine() as line:
        line._start -= 60
        line(0.5, "words")
    assert sys.stderr.getvalue() == ""


def test_control_characters_of_a_name_never_reach_the_terminal(capsys):
    terminal.complain("bad \x1b[31mname", 2)
    assert "\x1b" not in capsys.readouterr().err


FEEBLE = """
name = "A choke before a constant power (invented)"
[converter]
name = "Skerry (invented)"
output_voltage = "24 V"
switching_frequency = "180 kHz"
shape = "triangle"
duty = 0.5
edge_time = "30 ns"
output_capacitance = "47 mF"
output_esr = "0.1 mΩ"
output_esl = "4 nH"
output_resistance = "0 Ω"
lead_inductance = "10 nH"
loop_bandwidth = "9 kHz"
ripple = { peak_to_peak = "50 mV" }
[[filter]]
kind = "differential_choke"
part = { kind = "differential_choke", inductance = "47 µH", tolerance = "20 %", dc_resistance = "50 mΩ", saturation_current = "50 A", rated_current = "5 A", self_resonance = "20 MHz" }
[[filter]]
kind = "capacitor"
part = { kind = "film", capacitance = "100 µF", rated_voltage = "63 V", loss_angle = 0, esl = 0, tolerance = 0 }
[[load]]
name = "modem"
kind = "constant_power"
power = "60 W"
[[requirement]]
kind = "ripple"
load = "modem"
limit = "15 mV"
"""


def test_a_design_that_tolerances_turn_unstable_is_refused_a_green_page(tmp_path, capsys):
    """hand: R C / L < g from 48.5 µH on, see the tests of stability over the uncertainty."""
    path = tmp_path / "feeble.toml"
    path.write_text(FEEBLE, encoding="utf-8")
    assert cli.main(["review", str(path), "--out", str(tmp_path / "out")]) == 1
    said = capsys.readouterr().out
    turned = "stable at nominal values, unstable for L1 above 48."
    assert said.startswith(
        f"◐ Undecided: A choke before a constant power (invented)\n  At full load the circuit is {turned}"
    )
    assert "◐ undecided     Stability: unstable in a part of the range, at full load, in " in said
    found = json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))
    over = found["operating_points"]["full load"]["stability_over"]
    assert over["stable"] is False
    assert over["alone"][0]["value_H"] == pytest.approx(48.5e-6, rel=0.01, abs=0)
    assert over["unstable_share"] == pytest.approx(0.42, abs=0.03)  # hand: (56.4 - 48.5) / 18.8
    assert over["least_damping_ratio"] < 0
    assert (found["exit_code"], found["operating_points"]["full load"]["stable"]) == (1, True)
    page = (tmp_path / "out" / "review.html").read_text(encoding="utf-8")
    page = page.replace("\N{NO-BREAK SPACE}", " ")
    assert turned in page.split("<nav")[0]
    assert "of the plausible cases. The worst case oscillates at 2." in page
    assert "◐ unstable in a part of the range" in page
    assert "rings at 2.3" in page.replace("\N{NO-BREAK SPACE}", " ").split('id="cautions"')[1]
