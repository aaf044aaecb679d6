"""Pictures that a page or a paper can show: PNG and JPEG, told by their first bytes."""

from __future__ import annotations

import base64

KINDS = ((b"\x89PNG\r\n", ".png", "image/png"), (b"\xff\xd8\xff", ".jpg", "image/jpeg"))


def suffix_of(content: bytes) -> str:
    """`.png` or `.jpg`; empty for anything else."""
    return next((suffix for magic, suffix, _ in KINDS if content.startswith(magic)), "")


def data_url(content: bytes) -> str:
    """For the `src` of a page's picture; empty for what is neither PNG nor JPEG."""
    for magic, _, kind in KINDS:
        if content.startswith(magic):
            return f"data:{kind};base64,{base64.b64encode(content).decode()}"
    return ""
