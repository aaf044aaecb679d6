"""One line of text on the terminal without rich, which takes long to load: nothing in the text can steer the terminal."""

from __future__ import annotations

import click

from firstcrank.printable import printable


def say(text: str, err: bool = False) -> None:
    """One line on standard output, or on standard error."""
    click.echo(printable(text), err=err)


def say_json(text: str) -> None:
    """A line of JSON, in which whatever would steer a terminal is written as JSON escapes: the value is the same."""
    if not text.isprintable():
        import json

        text = "".join(c if printable(c) == c else json.dumps(c)[1:-1] for c in text)
    click.echo(text)
