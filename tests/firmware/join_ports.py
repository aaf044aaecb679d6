"""Joins two pseudo-terminal masters, so that two programs each see a serial port of their own."""

import os
import select
import sys

a, b = int(sys.argv[1]), int(sys.argv[2])
while True:
    ready, _, _ = select.select([a, b], [], [])
    for fd in ready:
        data = os.read(fd, 4096)
        other = b if fd == a else a
        while data:
            data = data[os.write(other, data) :]
