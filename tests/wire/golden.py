"""Golden bytes of every frame kind. Runs on CPython and on MicroPython; prints nothing and raises where they differ.

Made once from the layout in docs/wire_format.md. If one of these changes, old boards and recordings no longer read.
"""

import binascii
import struct

TYPE_CHECKING = False  # MicroPython has no typing; tools take the name for true
if TYPE_CHECKING:
    from types import ModuleType

ID = b"\x01\x02\x03\x04\x05\x06\x07\x08"


def bodies(wire: "ModuleType") -> "dict[str, bytes]":
    """(kind letter, body) of one frame of every kind."""
    bins = struct.pack(wire.BINS_FORMAT, 0x0102030405060708, 123456, 12288, 1, 2, 3, 6, 128, 1, 3)
    for channel in range(3):
        bins += struct.pack(wire.CHANNEL_FORMAT, 40000 + channel, 2400 + channel, 2600 + channel)
    bins += struct.pack(wire.RUNS_FORMAT, 7, 0, 5)
    close = struct.pack(wire.CLOSE_UP_FORMAT, 1000, 998, 1, 1, 0, 3, 0, 4) + struct.pack("<HHHH", 0, 4095, 1, 255)
    texts = {
        "I": b'{"product":"firstcrank"}',
        "S": b'{"channels":[{"role":"battery","pin":26}]}',
        "T": b'{"lost_bins":0}',
        "R": b'{"to":115,"ok":true,"why":""}',
        "K": b'{"inputs":[]}',
        "E": b'{"why":"the host stopped it"}',
        "P": b"\x00\x01\x02",
        "i": wire.PROBE_BODY,
        "c": b'{"bin_us":768}',
        "s": b"{}",
        "x": b"",
        "t": b"",
        "k": b"",
        "l": b"",
        "a": b"{}",
        "p": b"{}",
        "g": b"{}",
        "n": b'{"note":"end"}',
    }
    texts["B"] = bins
    texts["C"] = close
    return texts


GOLDEN = {
    "B": "0e314201020304050607080302010c080706050403020140e20101023001020101010202010102030101020601010280160103409c6009280a419c6109290a429c62092a0a0701010205010427ceb500",
    "C": "0e3143010203040506070803020103e803010101010103e60301010101010201020102030204010104ff0f0102ff05fb09568d00",
    "E": "0e31450102030405060708030201227b22776879223a2274686520686f73742073746f70706564206974227de201146f00",
    "I": "0e314901020304050607080302011d7b2270726f64756374223a2266697273746372616e6b227dd530dbf400",
    "K": "0e314b0102030405060708030201127b22696e70757473223a5b5d7dce39483300",
    "P": "0e3150010203040506070803020101070102db79232400",
    "R": "0e31520102030405060708030201227b22746f223a3131352c226f6b223a747275652c22776879223a22227dc56f363b00",
    "S": "0e315301020304050607080302012f7b226368616e6e656c73223a5b7b22726f6c65223a2262617474657279222c2270696e223a32367d5d7de59138cf00",
    "T": "0e31540102030405060708030201147b226c6f73745f62696e73223a307dc6599a8e00",
    "a": "0e31610102030405060708030201077b7dc4ea947800",
    "c": "0e31630102030405060708030201137b2262696e5f7573223a3736387ded1af5fc00",
    "g": "0e31670102030405060708030201077b7d363e6e5a00",
    "i": "0e316901020304050607080302011666697273746372616e6b3f203030303339d8b0c1e600",
    "k": "0e316b010203040506070803020105bfac257500",
    "l": "0e316c010203040506070803020105e7aa560800",
    "n": "0e316e0102030405060708030201137b226e6f7465223a22656e64227d8eb2b50a00",
    "p": "0e31700102030405060708030201077b7d63ae0d8500",
    "s": "0e31730102030405060708030201077b7d1ac4709400",
    "t": "0e317401020304050607080302010550df52e600",
    "x": "0e3178010203040506070803020105ab66e87c00",
}


def frame(wire: "ModuleType", letter: str, body: bytes) -> str:
    """The frame as hex."""
    return binascii.hexlify(wire.encode_frame(ord(letter), ID, 0x00010203, body)).decode()


def check(wire: "ModuleType") -> None:
    """Encodes and decodes every kind. Raises AssertionError naming the kind that differs."""
    made = bodies(wire)
    assert sorted(made) == sorted(GOLDEN), "a kind has no golden bytes"
    for letter, body in made.items():
        got = frame(wire, letter, body)
        assert got == GOLDEN[letter], "kind %s: %s" % (letter, got)
        back = wire.decode_frame(binascii.unhexlify(GOLDEN[letter])[:-1])
        assert (back.kind, back.recording_id, back.sequence, back.body) == (ord(letter), ID, 0x00010203, body), letter
    head = struct.unpack(wire.BINS_FORMAT, made["B"][: wire.BINS_BYTES])
    assert (head[0], head[7], head[8]) == (0x0102030405060708, 128, 1)
    assert struct.unpack(wire.CLOSE_UP_FORMAT, made["C"][: wire.CLOSE_UP_BYTES])[7] == 4
