"""Panels of single parts."""
