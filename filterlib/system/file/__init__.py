"""The design file: read, checked, written, and converters that are kept."""
