"""The page of a comparison of two designs."""
