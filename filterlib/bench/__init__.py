"""The oscilloscope: what a recording holds, and what it says about the converter."""
