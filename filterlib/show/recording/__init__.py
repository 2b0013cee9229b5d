"""The page of a recording."""
