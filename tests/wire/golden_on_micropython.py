"""Run by the Linux MicroPython: golden bytes there too."""

import sys

sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[2])

import golden
import wire

golden.check(wire)
print("same bytes")
