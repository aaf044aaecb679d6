"""A recording or a photo as it is kept: compressed once, known by the SHA-256 of what is inside."""

from __future__ import annotations

import hashlib
import zlib
from typing import NamedTuple

from firstcrank.errors import StoreError

PLAIN, ZLIB = "", "zlib"
LEVEL = 6  # a recording to a quarter; higher levels save a hundredth more and take twice as long


class Packed(NamedTuple):
    """A content as it is kept: its bytes, and how they are packed."""

    data: bytes
    codec: str


def hash_of(content: bytes) -> str:
    """SHA-256 in hex."""
    return hashlib.sha256(content).hexdigest()


def pack(content: bytes) -> Packed:
    """Compressed (RFC 1950), or as it is where that is not smaller."""
    small = zlib.compress(content, LEVEL)
    return Packed(small, ZLIB) if len(small) < len(content) else Packed(content, PLAIN)


def unpack(packed: Packed, content_hash: str) -> bytes:
    """The content. Raises StoreError where it no longer fits its hash."""
    try:
        content = zlib.decompress(packed.data) if packed.codec == ZLIB else packed.data
    except zlib.error:
        content = b""
    if hash_of(content) != content_hash:
        raise StoreError(f"the recording {content_hash[:12]} was altered after it was filed: its hash no longer fits")
    return content
