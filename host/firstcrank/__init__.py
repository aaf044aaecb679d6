"""firstcrank: proves the key-switch feed of a freshly wired electronic diesel while it cranks."""

__version__ = "0.1.0"
