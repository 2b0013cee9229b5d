"""Circuits whose elements bend and switch, in time: straight pieces, each solved exactly, with located events."""
