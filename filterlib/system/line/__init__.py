"""What stands behind the converter and before it: filter stages, loads, leads, couplings, the battery's side."""
