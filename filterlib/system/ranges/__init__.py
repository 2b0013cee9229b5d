"""What is not known exactly: values with ranges, and places in a design by their keys."""
