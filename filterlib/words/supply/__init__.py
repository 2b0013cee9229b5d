"""What feeds the filter, and how it starts: supply, switch-on, banks, light load."""
