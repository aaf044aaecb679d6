"""Text that leaves this computer (a log, a support bundle) without passwords and without the home folder's name."""

from __future__ import annotations

import re
from pathlib import Path

SECRET = re.compile(r"(://[^:/@\s]*):[^@/\s]*@")  # the password of a database URL


def without_secrets(text: str) -> str:
    """A text without the passwords of URLs and without the home folder's name."""
    return SECRET.sub(r"\1:***@", text).replace(str(Path.home()), "~")
