"""Where in a design file a thing belongs, for who writes it elsewhere."""
