"""Starts by name: what is wired, what is wrong with it, when the key turns."""
