"""A chip's address space on CPython, and viper's pointers into it that check what viper does not: bounds and alignment.

With these the firmware's viper functions run here as they stand. A pointer reads and writes as the 32-bit chip does: words are
signed, halves and bytes are not, and what is stored is cut to its width.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, Protocol

RAM = 0x20000000
SPACE = 64  # bytes that belong to nobody, between any two buffers


class Device(Protocol):
    """Registers: 32-bit words at byte offsets."""

    def read(self, offset: int) -> int: ...
    def write(self, offset: int, value: int) -> None: ...


class Memory:
    """Buffers and devices by address. A buffer gets its address when it is first asked for."""

    def __init__(self) -> None:
        self._next = RAM
        self._buffers: dict[int, tuple[int, Any]] = {}
        self._spans: list[tuple[int, int, memoryview]] = []
        self._devices: list[tuple[int, int, Device]] = []

    def address_of(self, buffer: Any) -> int:
        """Where it lies: on a multiple of 16 as MicroPython's heap has it, and not by chance on one of 32."""
        if id(buffer) not in self._buffers:
            view = memoryview(buffer).cast("B")
            self._next += -self._next % 32 + 16
            self._buffers[id(buffer)] = (self._next, buffer)
            self._spans.append((self._next, self._next + len(view), view))
            self._next += len(view) + SPACE
        return self._buffers[id(buffer)][0]

    def add(self, address: int, size: int, device: Device) -> None:
        """Registers from `address` on."""
        self._devices.append((address, address + size, device))

    def span(self, address: int) -> tuple[int, int, memoryview] | None:
        """The buffer that holds `address`: begin, end, bytes."""
        for span in self._spans:
            if span[0] <= address < span[1]:
                return span
        return None

    def device(self, address: int) -> tuple[int, Device] | None:
        """The device at `address` and the offset in it."""
        for begin, end, device in self._devices:
            if begin <= address < end:
                return address - begin, device
        return None

    def read(self, address: int, size: int) -> int:
        """One access, as a DMA or mem32 makes it. Raises IndexError where nothing is, or not on its own boundary."""
        found = self.device(address)
        if found is not None:
            return found[1].read(found[0]) & ((1 << 8 * size) - 1)
        span = self._checked(address, size)
        return int.from_bytes(span[2][address - span[0] : address - span[0] + size], "little")

    def write(self, address: int, size: int, value: int) -> None:
        """See read."""
        found = self.device(address)
        if found is not None:
            assert size == 4, "registers take whole words here"
            found[1].write(found[0], value & 0xFFFFFFFF)
            return
        span = self._checked(address, size)
        span[2][address - span[0] : address - span[0] + size] = (value & ((1 << 8 * size) - 1)).to_bytes(size, "little")

    def _checked(self, address: int, size: int) -> tuple[int, int, memoryview]:
        span = self.span(address)
        if span is None or address + size > span[1]:
            raise IndexError(f"nothing at {address:#x}")
        if address % size:
            raise IndexError(f"{size} bytes at {address:#x}: not on their boundary, which stops a Cortex-M0+")
        return span


class Mem32:
    """machine.mem32."""

    def __init__(self, memory: Memory) -> None:
        self._memory = memory

    def __getitem__(self, address: int) -> int:
        return self._memory.read(address, 4)

    def __setitem__(self, address: int, value: int) -> None:
        self._memory.write(address, 4, value)


def pointer(memory: Memory, size: int, signed: bool) -> type:
    """ptr8, ptr16 or ptr32."""

    class Pointer:
        def __init__(self, to: Any) -> None:
            if isinstance(to, int) or hasattr(to, "_is_pointer"):
                self._at = int(to)
            else:
                self._at = memory.address_of(to)
            self._span = memory.span(self._at)

        _is_pointer = True

        def __int__(self) -> int:
            return self._at

        def __getitem__(self, index: int) -> int:
            at = self._at + index * size
            span = self._span
            if span is None or not span[0] <= at or at + size > span[1] or at % size:
                value = memory.read(at, size)
                if span is not None:
                    raise IndexError(f"read at {at:#x} by a pointer into {span[0]:#x} to {span[1]:#x}")
                return value - (1 << 32) if signed and value & 0x80000000 else value
            return int.from_bytes(span[2][at - span[0] : at - span[0] + size], "little", signed=signed)

        def __setitem__(self, index: int, value: int) -> None:
            at = self._at + index * size
            span = self._span
            if span is None or not span[0] <= at or at + size > span[1]:
                raise IndexError(f"write at {at:#x} by a pointer to {self._at:#x}")
            memory.write(at, size, int(value))

    return Pointer


def viper(function: Callable[..., Any]) -> Callable[..., Any]:
    """micropython.viper: arguments become what they are annotated with."""
    code = function.__code__
    kinds = [function.__annotations__.get(name) for name in code.co_varnames[: code.co_argcount]]

    @functools.wraps(function)
    def called(*args: Any) -> Any:
        assert len(args) == len(kinds)
        result = function(*(arg if kind is None else kind(arg) for arg, kind in zip(args, kinds, strict=True)))
        if function.__annotations__.get("return") is int:
            return int(result)
        assert result is None
        return None

    return called
