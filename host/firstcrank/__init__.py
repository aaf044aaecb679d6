"""firstcrank: proves the key-switch feed of a freshly wired electronic diesel while it cranks."""

from firstcrank import wire

__version__ = wire.FIRMWARE_VERSION
