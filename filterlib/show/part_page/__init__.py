"""The page of one part, and of a table of parts."""
