"""firstcrank: proves the key-switch feed of a freshly wired electronic diesel while it cranks."""

from firstcrank.wire import FIRMWARE_VERSION as __version__

__all__ = ("__version__",)
