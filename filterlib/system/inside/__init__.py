"""The converter: what a design file says of it, and what is behind its terminals."""
