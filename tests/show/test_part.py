"""A part as text, page and numbers."""

from __future__ import annotations

import json
from xml.etree import ElementTree

import numpy as np
import pytest

from filterlib.analysis.linear.part_curves import examine
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.curves.measured import measured_part
from filterlib.parts.tables import data_folder, standard_tables
from filterlib.show.part_page import part as shown
from filterlib.show.part_page.part_tables import field_text, in_unit, list_table, part_tables
from filterlib.show.text import table_text
from tests.show.words_drawn import faults

PARTS = {name: part for table in standard_tables() for name, part in table.items()}
HOSTILE = "$x_1$ <script>&"


@pytest.fixture(scope="module")
def ceramic():
    return examine(PARTS["class2-2u2-50V-1206"].replace(name=HOSTILE, note=HOSTILE))


def test_the_text_holds_values_with_units_and_what_is_a_default(ceramic):
    text = shown.part_text(ceramic)
    rows = {line.strip()[:24].strip(): line for line in text.splitlines()}
    assert "2.2 µF" in next(line for start, line in rows.items() if start.startswith("capacitance"))
    assert next(line for line in text.splitlines() if "reference frequency" in line).endswith("default")
    line = next(line for line in text.splitlines() if "no bias" in line)
    expected = 1 / (2 * np.pi * 1e3 * 2.2e-6)  # hand: 72.3 ohm at 1 kHz
    assert float(line.split("20 °C")[1].split()[0]) == pytest.approx(expected, rel=2e-3, abs=0)


def test_values_in_the_units_that_people_use():
    assert in_unit(358.15, "K") == "85 °C"
    assert in_unit(5000 * 3600.0, "s") == "5000 h"
    assert in_unit(2e-6, "s") == "2 µs"
    curve = next(field for field in examine(PARTS["class2-2u2-50V-1206"]).fields if field.name == "bias_curve")
    assert field_text(curve).endswith("over 0 V to 50 V, 7 points")


def test_the_faces_are_said_to_differ_or_to_be_the_same(ceramic):
    assert "% at most" in table_text(
        next(t for t in part_tables(ceramic) if t.caption.startswith("Equivalent circuit"))
    )
    choke = examine(PARTS["dm-10u-6A"])
    faces = next(table for table in part_tables(choke) if table.caption.startswith("Equivalent circuit"))
    assert {row[-1] for row in faces.rows} == {"the same"}
    assert "part-faces.svg" not in shown.part_files(choke)


def test_page_and_numbers(ceramic, tmp_path):
    shown.write_part(ceramic, tmp_path / "out")
    found = json.loads((tmp_path / "out" / "part.json").read_text(encoding="utf-8"))
    assert {path.name for path in (tmp_path / "out").iterdir()} == set(found["files"])
    assert found["values"]["capacitance_F"] == pytest.approx(2.2e-6, rel=1e-9, abs=0)  # hand: the table
    curve = found["impedance"]["curves"][0]
    assert len(curve["magnitude_ohm"]) == len(found["impedance"]["frequency_Hz"])
    assert found["name"] == HOSTILE
    page = (tmp_path / "out" / "part.html").read_text(encoding="utf-8")
    assert "<script>" not in page
    assert "&lt;script&gt;" in page
    for path in (tmp_path / "out").glob("*.svg"):
        ElementTree.fromstring(path.read_text(encoding="utf-8").split("\n", 1)[1])


def test_every_part_of_the_tables_makes_a_page():
    for part in (PARTS["aluminium-47u-63V"], PARTS["cm-1m0-5A"], PARTS["film-1u0-100V-smd"]):
        files = shown.part_files(examine(part))
        assert "part.html" in files
        for name, text in files.items():
            if name.endswith(".svg"):
                assert faults(text.split("\n", 1)[1]) == [], name
        assert all("NaN" not in text for name, text in files.items() if name.endswith(".json"))


def test_curves_stand_in_the_units_of_their_axes():
    figure = shown.curves_figure(examine(PARTS["aluminium-47u-63V"]))
    titles = [plot.title for plot in figure.plots]
    assert "capacitance over temperature" in titles
    assert "ratio: ripple over frequency" in titles
    life = next(plot for plot in figure.plots if plot.title.startswith("life"))
    assert (life.x.unit, life.y.unit) == ("°C", "h")
    (line,) = life.marks
    assert line.x[-1] == pytest.approx(105, rel=1e-6, abs=0)  # hand: 105 °C, where it is rated
    assert line.y[-1] == pytest.approx(5000, rel=1e-6, abs=0)  # hand: 5000 h
    ten = np.interp(95, line.x, line.y)
    assert ten == pytest.approx(10000, rel=0.01, abs=0)  # published: ten kelvin double it, Rubycon technical note 5-1


def test_a_list_names_every_part():
    table = standard_tables()[0]
    assert {row[0] for row in list_table(table, table.title).rows} == set(table)


def test_a_part_that_has_no_name_is_shown_too():
    part = Capacitor(kind="film", capacitance="1 µF", rated_voltage="63 V", loss_angle=0.01, esl="5 nH")
    assert "film" in shown.part_files(examine(part))["part.html"]


def test_a_measured_part_says_where_it_is_from(tmp_path):
    """A kind of part that has fields of its own: its file and its network's error are told, its objects are not."""
    part = measured_part(
        data_folder() / "parts" / "measured" / "film-470n.csv", kind="measured_capacitor", rated_voltage="100 V"
    )
    found = examine(part)
    text = shown.part_text(found)
    assert part.caveat in text
    assert "FittedCurve(" not in text
    row = next(line for line in text.splitlines() if line.strip().startswith("rated voltage"))
    assert row.split()[-2:] == ["100", "V"]  # hand
    assert found.difference(found.impedances[0]) < 1e-6  # its network is its impedance
