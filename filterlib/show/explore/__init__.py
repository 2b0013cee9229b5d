"""What each notebook explores: one module and one panel, or two, for each. Hidden there, linted and tested here."""
