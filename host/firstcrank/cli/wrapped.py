"""Lines broken between words at the terminal's width, and questions asked so; without rich, which takes long to load."""

from __future__ import annotations

import shutil
import textwrap

NARROWEST = 20
AFTER_QUESTION = 9  # columns for ": " or " [y/N]: " and an answer of a letter


def wrapped_text(text: str, spare: int = 0) -> str:
    """The text with its lines broken between words at the terminal's width, `spare` columns left for what is typed after it.

    What goes on stands under the text's own indent, of a point under its text. A word that is longer than the line is left whole.
    """
    width = max(shutil.get_terminal_size().columns - spare, NARROWEST)
    body = text.lstrip(" ")
    indent = " " * (len(text) - len(body) + (2 if body.startswith("- ") else 0))
    lines = textwrap.wrap(
        text,
        width,
        subsequent_indent=indent if len(indent) < width // 2 else "",
        break_long_words=False,
        break_on_hyphens=False,
        replace_whitespace=False,
    )
    return "\n".join(lines)


def question(text: str) -> str:
    """A question for click.prompt or click.confirm, broken between words, with room for a short answer."""
    return wrapped_text(text, AFTER_QUESTION)
