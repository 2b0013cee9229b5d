"""What the help of each command shows: examples and exit codes."""

from __future__ import annotations

REVIEW = """\
examples:
  filterlib review tide-gauge.toml --out review
      reads the design, writes review/review.html, review/results.json and the figures

exit codes of review:
  0  every requirement is met over the whole range, at every operating point, and every rating is kept or accepted in the file
  1  a requirement is not met, undecided or only probably met (see --accept), a rating is exceeded or undecided,
     or the circuit is unstable
  2  the input was refused
  3  the output could not be written
"""
CODES = """
exit codes:
  0  done
  2  the input was refused
  3  the output could not be written
"""
RECORDING = f"""\
examples:
  filterlib recording terminals.csv
      prints period, jitter, ripple and spike, noise and the strongest harmonics
  filterlib recording terminals.csv --channel 2 --probe-factor 10 --out terminals
      reads the second channel, and writes terminals/recording.html, recording.json and the figures
{CODES}"""
PART = f"""\
examples:
  filterlib part ceramic
      lists the parts of a table that comes with filterlib
  filterlib part ceramic class2-2u2-50V-1206
      prints its values, impedance, curves, and how well its equivalent circuit agrees
  filterlib part own-parts.toml C1 --out c1
      the same from a table of your own, and writes c1/part.html, part.json and the figures
{CODES}"""
LAB = """\
examples:
  filterlib lab
      copies the notebooks into the folder filterlib-notebooks and opens them in JupyterLab
  filterlib lab harbour --no-browser
      into the folder harbour, and prints the address instead of opening a browser
  filterlib lab --design tide-gauge.toml
      also writes a notebook with this design on sliders: its own converter, filter and loads
  filterlib lab harbour -- --allow-root
      options after a lone -- go to JupyterLab; without this one it does not start as root

A notebook that you changed stays as it is; the fresh copy then gets a name of its own. Stop JupyterLab with Ctrl-C.
"""
PAGES = f"""\
example:
  filterlib pages --out pages
      runs every notebook and writes pages/index.html and a page for each, to be read without Jupyter and without network
{CODES}"""
COMPARE = """\
examples:
  filterlib compare tide-gauge.toml tide-gauge-brick.toml --out compare
      reads both designs, writes compare/compare.html, compare/compare.json and the figures

exit codes of compare:
  0  review would give both designs 0: every requirement and rating is met over the whole range
  1  review would give one of them 1
  2  the input was refused: a file, no load of the same name in both, or two different designs with the same title
  3  the output could not be written
"""
VERIFY = f"""\
examples:
  filterlib verify tide-gauge.toml --out bench
      reads the design, writes bench/verify.html to print, verify.json and the circuit with its probe points
{CODES}"""
