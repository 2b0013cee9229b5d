"""Make the README's picture from the demo design."""

from pathlib import Path

from filterlib import load_design
from filterlib.analysis.ripple import ripple
from filterlib.show.plots import ripple_figure
from filterlib.show.style import save

HERE = Path(__file__).parent


def main() -> None:
    """Write ripple-modem.svg beside this script."""
    design = load_design(HERE.parent / "data" / "designs" / "tide-gauge-clean.toml")
    limits = {wanted.label: wanted.limit for wanted in design.requirements if wanted.kind == "ripple"}
    save(ripple_figure(ripple(design, design.state()), "modem", limits=limits), HERE / "ripple-modem.svg")


if __name__ == "__main__":
    main()
