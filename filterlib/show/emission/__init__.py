"""Conducted emission: its chapter, figures and numbers."""
