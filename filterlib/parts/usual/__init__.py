"""What parts of a kind usually have, where nothing is stated of it."""
