"""Pages, figures and numbers parse, whatever is in a name; names are text there and never markup."""

import json
import os
from xml.etree import ElementTree

import numpy as np
import pytest

from filterlib import cli
from filterlib.show.folder import RUN, write_files
from tests.show.parsed import Page

NAMES = {
    "control characters": "CH\x01\x1b[31m\x85\x0b",
    "markup": "<script>alert(1)</script>&\"'",
    "the end of a comment": "-->]]><!--",
    "braces": "{{ 7 * 7 }}{% raw %}",
    "writing the other way": "\u202eA\u2066",
    "no character": "\ufffe\uffff",
}


@pytest.fixture(scope="module")
def shapes(tmp_path_factory):
    times = 1e-7 * np.arange(600)
    volts = 0.05 * np.sin(2 * np.pi * 2e5 * times) + 1e-3 * np.random.default_rng(3).normal(size=times.size)
    rows = "\n".join(f"{t:.7e};{v:.6e}" for t, v in zip(times, volts, strict=True))
    return tmp_path_factory.mktemp("scope"), rows


@pytest.mark.parametrize("name", NAMES)
def test_a_recording_with_an_odd_channel_name(name, shapes, capsys):
    folder, rows = shapes
    path, out = folder / f"{list(NAMES).index(name)}.csv", folder / f"out{list(NAMES).index(name)}"
    path.write_text(f"t [s];{NAMES[name]} [V]\n{rows}\n", encoding="utf-8")
    assert cli.main(["recording", str(path), "--out", str(out)]) == 0
    plain, page = capsys.readouterr().out, (out / "recording.html").read_text(encoding="utf-8")
    assert not [c for c in plain + page if (ord(c) < 32 and c != "\n") or 127 <= ord(c) < 160]
    figures = list(out.glob("*.svg"))
    assert figures
    for figure in figures:
        ElementTree.fromstring(figure.read_text(encoding="utf-8"))
    json.loads((out / "recording.json").read_text(encoding="utf-8"))
    parsed = Page(page)
    assert len(parsed.all("script")) == 1  # the page's own, allowed by its hash
    if name in ("markup", "braces"):
        assert NAMES[name] in "".join(parsed.text)


def test_a_file_name_that_is_no_utf_8_is_written_with_a_mark(tmp_path):
    """As the system gives it to a program: half surrogate pairs."""
    name = os.fsdecode(b"b\xffard.csv")
    write_files(
        tmp_path / "out",
        {"a.html": f"<!-- {RUN} -->{name}", "a.json": json.dumps({"run": RUN, "files": ["a.html", "a.json"]})},
        last="a.json",
    )
    assert "b\N{REPLACEMENT CHARACTER}ard.csv" in (tmp_path / "out" / "a.html").read_text(encoding="utf-8")
