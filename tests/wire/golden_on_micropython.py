"""Run by the Linux MicroPython: golden bytes there too."""

import sys

sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[2])

TYPE_CHECKING = False  # MicroPython has no typing; tools take the name for true
if TYPE_CHECKING:
    from firstcrank import wire
    from tests.wire import golden
else:
    import golden
    import wire

golden.check(wire)
print("same bytes")
