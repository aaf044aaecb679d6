"""Checksums, byte stuffing and ADC scaling against published values and other people's libraries."""

from __future__ import annotations

import pytest
from cobs import cobs
from crccheck.crc import Crc32
from hypothesis import given
from hypothesis import strategies as st

from firstcrank import wire
from firstcrank_sim.board.firmware_program import load

RUN_254 = bytes(range(1, 255))

# Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2), 1999: the scheme.
# Vectors as in the worked examples usually given for it, each recomputed with PyPI cobs 1.2.2. Status: checked.
VECTORS = [
    ("", "01"),
    ("00", "0101"),
    ("0000", "010101"),
    ("00110 0".replace(" ", ""), "01021101"),
    ("11220033", "031122 0233".replace(" ", "")),
    ("11223344", "0511223344"),
    ("11000000", "0211010101"),
    (RUN_254.hex(), "ff" + RUN_254.hex()),
    ("00" + RUN_254.hex(), "01ff" + RUN_254.hex()),
    (RUN_254.hex() + "ff", "ff" + RUN_254.hex() + "02ff"),
    (RUN_254[1:].hex() + "ff00", "ff" + RUN_254[1:].hex() + "ff0101"),
    (RUN_254[2:].hex() + "ff0001", "fe" + RUN_254[2:].hex() + "ff0201"),
]


@pytest.mark.parametrize(("plain", "stuffed"), VECTORS)
def test_cobs_vectors(plain: str, stuffed: str) -> None:
    assert wire.cobs_encode(bytes.fromhex(plain)).hex() == stuffed
    assert wire.cobs_decode(bytes.fromhex(stuffed)).hex() == plain


def test_cobs_decoder_takes_the_reference_encoders_extra_group() -> None:
    """The reference C code of the paper ends exact multiples of 254 with an extra 01. A decoder must accept both."""
    assert wire.cobs_decode(b"\xff" + RUN_254 + b"\x01") == RUN_254


@given(st.one_of(st.binary(max_size=800), st.integers(250, 520).map(lambda n: b"\x01" * n)))
def test_cobs_equals_the_pypi_library(data: bytes) -> None:
    assert wire.cobs_encode(data) == cobs.encode(data)
    assert wire.cobs_decode(cobs.encode(data)) == data
    assert len(wire.cobs_encode(data)) <= len(data) + 1 + len(data) // 254  # bound of the paper


@given(st.binary(max_size=300))
def test_a_frames_checksum_is_crc32(body: bytes) -> None:
    plain = cobs.decode(wire.encode_frame(wire.BINS, b"12345678", 7, body)[:-1])
    assert int.from_bytes(plain[-4:], "little") == Crc32.calc(plain[:-4])


@pytest.mark.parametrize(
    ("code", "read"), [(0, 0), (1, 16), (2, 32), (511, 8177), (512, 8194), (2048, 32776), (4094, 65519), (4095, 65535)]
)
def test_read_u16_scaling(code: int, read: int) -> None:
    """MicroPython's rp2 port returns (raw << 4) | (raw >> 8) (ports/rp2/machine_adc.c): the firmware's self-check gives the raw code."""

    class Adc:
        def read_u16(self) -> int:
            return read

    class Clock:
        def ticks_us(self) -> int:
            return 0

    body = load("selfcheck").self_check(Clock(), [Adc()], [{"role": "battery", "pin": 26}], lambda: 25.0)
    (found,) = body["inputs"]
    assert (found["mean_code"], found["lowest_code"], found["highest_code"]) == (code, code, code)
