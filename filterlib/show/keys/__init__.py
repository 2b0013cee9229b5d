"""The keys of a design file, made from the models: a page that explains each, and a schema from which editors complete."""
