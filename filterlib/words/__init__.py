"""Results in words: figures with their units, labels, sentences and caveats. Nothing is computed here."""
