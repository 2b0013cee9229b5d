"""The notebooks: copied, run, and shown as pages."""
