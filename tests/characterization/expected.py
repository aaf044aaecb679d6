"""What the judge found when the corpus was last looked through."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

DATA = Path(__file__).parent / "data" / "judgements.jsonl"


@cache
def expected() -> dict[str, Any]:
    """Reduced judgements by the start's name."""
    rows = (json.loads(line) for line in DATA.read_text("utf-8").splitlines())
    return {row["start"]: row["judgement"] for row in rows}
