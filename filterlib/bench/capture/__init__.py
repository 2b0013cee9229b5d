"""A recording of an oscilloscope: read, cleaned and measured."""
