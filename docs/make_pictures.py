"""Make the README's pictures: the demo's ripple, and what a notebook's panel shows."""

from pathlib import Path

from filterlib import load_design
from filterlib.analysis.ripple.ripple import ripple
from filterlib.show.explore.common_mode import common_mode_panel
from filterlib.show.explore.pi_filter import pi_panel
from filterlib.show.figures.drawing import save
from filterlib.show.figures.plots import ripple_figure
from filterlib.system.solution import solve

HERE = Path(__file__).parent


def main() -> None:
    """Write ripple-modem.svg, pi-filter.png and common-mode.png beside this script."""
    design = load_design(HERE.parent / "data" / "designs" / "tide-gauge-clean.toml")
    at_modem = (one for one in design.requirements if one.kind == "ripple" and one.load == "modem")
    limits = {wanted.label: wanted.limit for wanted in at_modem}
    save(ripple_figure(ripple(solve(design)), "modem", limits=limits), HERE / "ripple-modem.svg")
    panel = pi_panel()
    panel.keep()
    panel.move("filter.C2.part", "aluminium-47u-63V")
    panel.refine()
    (HERE / "pi-filter.png").write_bytes(panel.picture.print_png())
    ways = common_mode_panel()
    ways.keep()
    ways.move("y", "2 × 10 nF, before the choke")
    (HERE / "common-mode.png").write_bytes(ways.picture.print_png())


if __name__ == "__main__":
    main()
