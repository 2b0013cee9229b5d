"""Figures and circuit diagrams as data, and as SVG."""
