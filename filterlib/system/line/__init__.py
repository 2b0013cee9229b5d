"""What is wired to the converter, behind it and before it: filter stages, loads, leads, couplings, the battery's side."""
