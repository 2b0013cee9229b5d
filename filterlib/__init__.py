"""The filter between a switch-mode DC-DC converter and the electronics that it feeds."""
