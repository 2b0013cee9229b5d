"""What feeds the converter: its chapter and numbers."""
