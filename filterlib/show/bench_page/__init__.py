"""The page, the numbers and the command of what the bench answers."""
