"""Runs a MicroPython script with memory whose addresses fit 31 bits, for kernels that keep addresses in 32-bit words.

    low_memory.py SCRIPT FOLDER ROUNDS

The Linux interpreter is a Python extension (micropython_unix), so memory mapped by this process is its own as well: the script
gets `ADDRESS SIZE` behind its arguments.
"""

import ctypes
import mmap
import sys

MAP_32BIT = 0x40  # mmap(2), Linux x86-64: in the first 2 GiB
SIZE = 1 << 20

memory = mmap.mmap(-1, SIZE, flags=mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS | MAP_32BIT)
address = ctypes.addressof(ctypes.c_char.from_buffer(memory))
assert address + SIZE < 1 << 31, hex(address)

import micropython_unix  # noqa: E402

sys.exit(micropython_unix.run_main(["micropython", "-X", "heapsize=8m", *sys.argv[1:], str(address), str(SIZE)]))
