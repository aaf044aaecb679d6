"""One line of text on the terminal without rich, which takes long to load: nothing in the text can steer the terminal."""

from __future__ import annotations

import sys

import click

from firstcrank.cli.wrapped import wrapped_text
from firstcrank.printable import printable


def say(text: str, err: bool = False) -> None:
    """One line on standard output, or on standard error; at a terminal broken between words, in a pipe or file left whole."""
    text = printable(text)
    stream = sys.stderr if err else sys.stdout
    click.echo(wrapped_text(text) if stream is not None and stream.isatty() else text, err=err)


def say_json(text: str) -> None:
    """A line of JSON, in which whatever would steer a terminal is written as JSON escapes: the value is the same."""
    if not text.isprintable():
        import json

        text = "".join(c if printable(c) == c else json.dumps(c)[1:-1] for c in text)
    click.echo(text)
