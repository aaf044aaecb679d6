"""What the judge found when the corpus was last looked through."""

from __future__ import annotations

import json
import lzma
from functools import cache
from pathlib import Path
from typing import Any

DATA = Path(__file__).parent / "data" / "judgements.jsonl.xz"


@cache
def expected() -> dict[str, Any]:
    """Reduced judgements by the start's name."""
    rows = (json.loads(line) for line in lzma.decompress(DATA.read_bytes()).decode().splitlines())
    return {row["start"]: row["judgement"] for row in rows}
