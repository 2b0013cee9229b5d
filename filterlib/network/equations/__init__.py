"""Equations of a circuit: written from its elements, eliminated, answered at frequencies and in time."""
