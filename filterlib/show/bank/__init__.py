"""The page of banks that carry bursts."""
