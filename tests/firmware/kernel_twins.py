"""Compiled kernels against their plain twins on random data, on whatever MicroPython runs this: Linux or a chip.

    kernel_twins.py FOLDER ROUNDS      FOLDER holds firstcrank_board

Prints one line a kernel, "name: N equal", and ends with an error where one differs. Kernels that this interpreter cannot load
are not there: the Thumb assembler on Linux. No random module: the same numbers everywhere.
"""

import gc
import sys
from array import array
from binascii import crc32

TYPE_CHECKING = False  # MicroPython has no typing; tools take the name for true
if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from types import ModuleType
    from typing import Any, TypeVar

    T = TypeVar("T")
    Kernel = Callable[..., Any]  # compiled on the board: nothing says what it takes and gives
    Check = Callable[[str, Kernel, Kernel, "Dice", int], int]

GUARD = 0xA5
SAMPLES = (1, 2, 3, 4, 5, 7, 8, 16, 41, 128, 512, 1000)


class Dice:
    """Sixteen bits at a time, in small integers alone, since it runs on the chip too: a xorshift (7, 9, 8) and a counter, added."""

    def __init__(self, seed: int) -> None:
        self._x = seed & 0xFFFF or 1
        self._counter = 0

    def below(self, most: int) -> int:
        """0 to most - 1, most at most 2**16."""
        x = self._x
        x ^= x << 7 & 0xFFFF
        x ^= x >> 9
        x ^= x << 8 & 0xFFFF
        self._x = x
        self._counter = self._counter + 40503 & 0xFFFF
        return (x + self._counter & 0xFFFF) % most

    def bits30(self) -> int:
        """A small integer on every board, and often one near the end of the range."""
        kind = self.below(6)
        if kind == 0:
            return self.below(3)
        if kind == 1:
            return 0x3FFFFFFF - self.below(3)
        return self.below(1 << 15) << 15 | self.below(1 << 15)

    def pick(self, things: "Sequence[T]") -> "T":
        """One of them."""
        return things[self.below(len(things))]


def codes_of(dice: Dice, count: int, trigger: int) -> "array[int]":
    """An array of 12-bit codes of one of several kinds: noise, one value, a feed that chatters round the trigger."""
    kind = dice.below(5)
    codes = array("H", bytes(2 * count))
    level = dice.below(4096)
    for n in range(count):
        if kind == 0:
            code = dice.below(4096)
        elif kind == 1:
            code = level
        elif kind == 2:
            code = min(max(trigger - 3 + dice.below(7), 0), 4095)
        elif kind == 3:
            if dice.below(20) == 0:
                level = 4095 - level
            code = level
        else:
            code = 4095 if dice.below(2) else 0
        codes[n] = code
    return codes


def same(name: str, made: "bytearray | array[int]", wanted: "bytearray | array[int]", what: object) -> None:
    """Ends the program where two buffers differ."""
    if bytes(made) != bytes(wanted):
        at = [n for n in range(len(wanted)) if made[n] != wanted[n]][:8]
        raise AssertionError(f"{name} differs from its twin at {at}: {what}")


def guarded(size: int) -> bytearray:
    """A buffer whose every byte shows if it was written."""
    return bytearray(bytes((GUARD,)) * size)


# --- the kernels ---------------------------------------------------------------------------------------------


def check_fold(name: str, kernel: "Kernel", plain: "Kernel", dice: Dice, rounds: int) -> int:
    """fold(codes, out, params)."""
    for turn in range(rounds):
        channels = 1 + turn % 8
        samples = dice.pick(SAMPLES)
        trigger = dice.pick((0, 1, 900, 2000, 4095, 4096))
        first, out_at = dice.below(9), 2 * dice.below(9)
        codes = codes_of(dice, first + samples * channels, trigger)
        size = out_at + 6 * channels + 6 + 8
        made, wanted = guarded(size), guarded(size)
        for key in (dice.below(channels), channels, 255):
            params = array("i", [first, samples, channels, key, trigger, out_at])
            kernel(codes, made, params)
            plain(codes, wanted, params)
            same(name, made, wanted, tuple(params))
    return 3 * rounds


def check_long_bin(name: str, kernel: "Kernel", plain: "Kernel", dice: Dice, rounds: int) -> int:
    """The longest bin of the portable acquisition, and one whose sum leaves 31 bits: 40,000 conversions of the highest code."""
    for samples, code in ((4096, 4095), (40000, 4095), (40000, 4094)):
        codes = bytes((code & 255, code >> 8)) * samples
        made, wanted = guarded(16), guarded(16)
        kernel(codes, made, array("i", [0, samples, 1, 0, 4095, 2]))
        run = samples if code < 4095 else 0
        for n, value in enumerate((code * 16, code, code, run, run, run)):
            wanted[2 + 2 * n], wanted[3 + 2 * n] = value & 255, value >> 8
        same(name, made, wanted, (samples, code))
    return 3


def check_accumulate(name: str, kernel: "Kernel", plain: "Kernel", dice: Dice, rounds: int) -> int:
    """accumulate(p): sum, lowest and highest of each channel of each piece. Addresses fit 31 bits on a chip alone."""
    import uctypes

    for turn in range(rounds):
        channels = 1 + turn % 8
        samples = dice.pick(SAMPLES[:10])
        pieces = 1 + dice.below(4)
        codes = codes_of(dice, pieces * samples * channels, 2000)
        made, wanted = array("i", [77] * (3 * channels * pieces + 1)), array("i", [77] * (3 * channels * pieces + 1))
        kernel(array("i", [uctypes.addressof(codes), uctypes.addressof(made), samples, channels, pieces]))
        at = 0
        for piece in range(pieces):
            for channel in range(channels):
                first = piece * samples * channels + channel
                mine = [codes[first + n * channels] for n in range(samples)]
                wanted[at], wanted[at + 1], wanted[at + 2] = sum(mine), min(mine), max(mine)
                at += 3
        same(name, made, wanted, (samples, channels, pieces))
    return rounds


def check_bins_body(name: str, kernel: "Kernel", plain: "Kernel", dice: Dice, rounds: int) -> int:
    """bins_body(plain, headers, bins, job), for blocks of six and of three headers."""
    for turn in range(rounds):
        channels = 1 + turn % 8
        values = dice.pick((3, 6))
        group = dice.pick((1, 2, 4, 8))
        block_bytes = group * (6 * channels + 6)
        capacity = 4 + dice.below(4)
        blocks = 1 + dice.below(3)
        first = dice.below(capacity - blocks + 1)
        headers = array("i", [dice.bits30() for _ in range(values * capacity)])
        bins = bytearray([dice.below(256) for _ in range(capacity * block_bytes)])
        conversions = 1 + dice.below(65535)
        if values == 6:
            for n in range(capacity):
                headers[6 * n + 3] = dice.below(60000)  # span
                headers[6 * n + 4] = dice.below(60000)  # gap
                headers[6 * n + 5] = conversions
        job = array(
            "i",
            [first, blocks, block_bytes, blocks * group, channels]
            + [dice.bits30() for _ in range(3)]
            + [values, dice.below(60000), dice.below(60000), conversions],
        )
        size = 14 + 36 + blocks * block_bytes + 8
        made, wanted = guarded(size), guarded(size)
        ends = kernel(made, headers, bins, job), plain(wanted, headers, bins, job)
        same(name, made, wanted, tuple(job))
        assert ends[0] == ends[1] == size - 8, (name, ends, size)
    return rounds


def check_crc(name: str, kernel: "Kernel", plain: "Kernel", dice: Dice, rounds: int) -> int:
    """crc_into(data, length, table)."""
    from firstcrank_board.crc_table import table

    values = table()
    for turn in range(rounds):
        length = turn if turn < 20 else dice.below(950)
        made = bytearray([dice.below(256) for _ in range(length)] + [GUARD] * 8)
        wanted = bytearray(made)
        kernel(made, length, values)
        plain(wanted, length, None)
        same(name, made, wanted, length)
        assert bytes(made[length : length + 4]) == (crc32(bytes(made[:length])) & 0xFFFFFFFF).to_bytes(4, "little")
    return rounds


def check_stuff(name: str, kernel: "Kernel", plain: "Kernel", dice: Dice, rounds: int) -> int:
    """stuff(source, length, target): with many zeros, few and none, round the runs of 254."""
    for turn in range(rounds):
        length = dice.pick((0, 1, 2, 253, 254, 255, 256, 508, 509, 510, 900)) if turn % 2 else dice.below(900)
        zeros = dice.pick((1, 5, 300, 60000))
        source = bytearray([0 if dice.below(zeros) == 0 else 1 + dice.below(255) for _ in range(length)] + [GUARD])
        size = length + 2 + length // 254 + 8
        made, wanted = guarded(size), guarded(size)
        ends = kernel(source, length, made), plain(source, length, wanted)
        same(name, made, wanted, (length, zeros))
        assert ends[0] == ends[1] <= size - 8, (name, ends)
    return rounds


def check_header(name: str, kernel: "Kernel", plain: "Kernel", dice: Dice, rounds: int) -> int:
    """header(plain, version, kind, identity, sequence)."""
    for _ in range(rounds):
        identity = bytes([dice.below(256) for _ in range(8)])
        sequence = dice.bits30()
        made, wanted = guarded(20), guarded(20)
        kernel(made, 0x31, dice.below(256), identity, sequence)
        plain(wanted, 0x31, made[1], identity, sequence)
        same(name, made, wanted, sequence)
    return rounds


def check_pad(name: str, kernel: "Kernel", plain: "Kernel", dice: Dice, rounds: int) -> int:
    """pad(target, length, multiple)."""
    for _ in range(rounds):
        length = dice.below(200)
        made, wanted = guarded(264), guarded(264)
        ends = kernel(made, length, 64), plain(wanted, length, 64)
        same(name, made, wanted, length)
        assert ends[0] == ends[1], (name, ends)
    return rounds


def check_copy_codes(name: str, kernel: "Kernel", plain: "Kernel", dice: Dice, rounds: int) -> int:
    """copy_codes(pool, at, size, plain, plain_at, codes): round the pool's end; whole groups of eight are written."""
    for _ in range(rounds):
        size = 8 * (1 + dice.below(16))
        pool = bytearray([dice.below(256) for _ in range(size * 3 // 2)])
        at, count = 8 * dice.below(size // 8), 1 + dice.below(size)
        plain_at = 2 * dice.below(20)
        whole = (count + 7) // 8 * 8
        made, wanted = guarded(plain_at + 2 * whole + 8), guarded(plain_at + 2 * whole + 8)
        kernel(pool, at, size, made, plain_at, count)
        plain(pool, at, size, wanted, plain_at, whole)
        same(name, made, wanted, (size, at, count))
    return rounds


def check_pack(name: str, kernel: "Kernel", plain: "Kernel", dice: Dice, rounds: int) -> int:
    """pack(source, target, groups)."""
    for turn in range(rounds):
        groups = 1 + turn % 40
        codes = codes_of(dice, 8 * groups, dice.below(4096))
        made, wanted = guarded(12 * groups + 8), guarded(12 * groups + 8)
        kernel(codes, made, groups)
        for n in range(0, 8 * groups, 2):
            both = codes[n] | codes[n + 1] << 12
            wanted[n * 3 // 2 : n * 3 // 2 + 3] = both.to_bytes(3, "little")
        same(name, made, wanted, groups)
    return rounds


def check_unpack(name: str, kernel: "Kernel", plain: "Kernel", dice: Dice, rounds: int) -> int:
    """unpack(source, target, groups): of any bytes."""
    for turn in range(rounds):
        groups = 1 + turn % 40
        packed = bytearray([dice.below(256) for _ in range(12 * groups)])
        made, wanted = array("H", bytes(16 * groups + 8)), array("H", bytes(16 * groups + 8))
        kernel(packed, made, groups)
        for n in range(4 * groups):
            wanted[2 * n] = packed[3 * n] | (packed[3 * n + 1] & 15) << 8
            wanted[2 * n + 1] = packed[3 * n + 1] >> 4 | packed[3 * n + 2] << 4
        same(name, made, wanted, groups)
    return rounds


def scan_plain(codes: "array[int]", first: int, step: int, state: "list[int]", edges: "array[int]") -> "list[int]":
    """What rp2_service's state says of `scan`, its words 3 to 12 and 15 as a list; edges: those of the list that has a place."""
    trigger, confirm, run, longest, head_open, head_run, below, rise_at, found, most, missed = state
    for i in range(first, len(codes), step):
        edge = -1
        if codes[i] < trigger:
            run += 1
            longest = max(longest, run)
            if head_open:
                head_run = run
            if not below:
                edge = 2 * i + 1
            below, rise_at = 1, 0
        else:
            run = head_open = 0
            if below:
                rise_at = rise_at or 2 * i + 1
                if codes[i] >= confirm:
                    below, edge, rise_at = 0, rise_at - 1, 0
        if edge >= 0:
            if found < most:
                edges[found] = edge
                found += 1
            else:
                missed += 1
    return [trigger, confirm, run, longest, head_open, head_run, below, rise_at, found, most, missed]


def check_scan(name: str, kernel: "Kernel", plain: "Kernel", dice: Dice, rounds: int) -> int:
    """scan(s) on codes of every kind, from every state that service leaves behind. Addresses fit 31 bits on a chip alone."""
    import uctypes

    for turn in range(rounds):
        channels = 1 + turn % 8
        trigger = dice.pick((0, 1, 900, 2000, 4080, 4095))
        codes = codes_of(dice, channels * (1 + dice.below(60)), trigger)
        key = dice.below(channels)
        below = dice.below(2)
        run = dice.below(200) if below else 0
        state = [
            trigger,
            trigger + 12,
            run,
            run + dice.below(2) * 300,
            dice.below(2),
            dice.below(300),
            below,
            below * dice.below(2),
            dice.below(3),
            dice.pick((3, 16)),
            dice.below(3),
        ]
        at = uctypes.addressof(codes)
        made, wanted = array("i", bytes(4 * 17)), array("i", bytes(4 * 17))
        wanted[16] = made[16] = 77
        values = [at + 2 * key, at + 2 * len(codes), 2 * channels]
        values.extend(state[:10])
        values.extend((uctypes.addressof(made), at, state[10]))
        s = array("i", values)
        kernel(s)
        got = [s[n] for n in range(3, 13)] + [s[15]]
        hoped = scan_plain(codes, key, channels, state, wanted)
        if got != hoped:
            raise AssertionError(f"{name} differs from its twin: {state}, {got}, {hoped}, {list(codes)}")
        same(name, made, wanted, state)
    return rounds


# file, function, check, file of the twin
KERNELS: "tuple[tuple[str, str, Check, str | None], ...]" = (
    ("fold_viper", "fold", check_long_bin, "fold"),
    ("fold_viper", "fold", check_fold, "fold"),
    ("fold_viper", "accumulate", check_accumulate, None),
    ("fold_thumb", "accumulate", check_accumulate, None),
    ("framing_viper", "bins_body", check_bins_body, "framing"),
    ("crc_viper", "crc_into", check_crc, "framing"),
    ("frame_thumb", "crc_into", check_crc, "framing"),
    ("framing_viper", "header", check_header, "framing"),
    ("framing_viper", "pad", check_pad, "framing"),
    ("stuff_viper", "stuff", check_stuff, "stuff"),
    ("frame_thumb", "stuff", check_stuff, "stuff"),
    ("rp2_edges", "copy_codes", check_copy_codes, "close_up"),
    ("edge_viper", "pack", check_pack, None),
    ("edge_viper", "unpack", check_unpack, None),
    ("edge_viper", "scan", check_scan, None),
    ("edge_thumb", "pack", check_pack, None),
    ("edge_thumb", "unpack", check_unpack, None),
    ("edge_thumb", "scan", check_scan, None),
)
SHORT_ADDRESSES = ("edge_viper.scan", "fold_viper.accumulate")  # keeps addresses in 32-bit words


def loaded(file: str) -> "ModuleType | None":
    """A module of the firmware, or None where this interpreter cannot have it."""
    try:
        return __import__("firstcrank_board." + file, None, None, ("x",))
    except (ImportError, SyntaxError, NameError, AttributeError, ValueError) as error:
        print(f"{file}: not here ({error.__class__.__name__})")
        return None


def no_twin(*_: object) -> None:
    """For a kernel whose check needs no twin."""
    raise AssertionError("there is no twin")


def run(rounds: int) -> None:
    """Every kernel that can be loaded."""
    for file, function, check, twin in KERNELS:
        module = loaded(file)
        if module is None or not hasattr(module, function):
            continue
        plain = getattr(loaded(twin), function) if twin else no_twin
        name = f"{file}.{function}"
        if name in SHORT_ADDRESSES and sys.maxsize > 1 << 32:
            continue
        count = check(name, getattr(module, function), plain, Dice(len(name) * 7919), rounds)
        gc.collect()
        print(f"{name}: {count} equal ({check.__name__})")


if __name__ == "__main__":
    sys.path.insert(0, sys.argv[1])
    run(int(sys.argv[2]))
    print("done")
