"""What feeds the converter: the plug, the battery, wire, fuse and switch, and whether the converter starts."""
