"""firstcrank config: each setting, its value and where it comes from."""

from __future__ import annotations

import click

from firstcrank.cli.say import say


@click.command()
@click.option("--write", "write_it", is_flag=True, help="Write a settings file with every key as a comment, to edit.")
def config(write_it: bool) -> int:
    """Show each setting, its value and where it comes from. Options on the command line win over the file.

    \b
    Examples:
      firstcrank config
      firstcrank config --write
    """
    from firstcrank.errors import UsageError
    from firstcrank.settings import KEYS, read_settings

    settings = read_settings()
    if write_it:
        if settings.path.exists():
            raise UsageError(f"{settings.path} is already there: edit it")
        settings.path.parent.mkdir(parents=True, exist_ok=True)
        lines = [f"# {key} = {_toml(default, kind)}   # {what}" for key, (kind, what, default) in KEYS.items()]
        settings.path.write_text("\n".join(lines) + "\n", "utf-8")
    say(f"settings file: {settings.path}{'' if settings.path.exists() else ' (not there; --write makes one)'}")
    for key, (_, what, _) in KEYS.items():
        value = settings.get(key)
        shown = settings.folder if key == "recordings" else "not set" if value in (None, "") else value
        say(f"{key:<11} {shown!s:<24} {settings.source(key):<10} {what}")
    return 0


def _toml(value: object, kind: type) -> str:
    if kind is str:
        return f'"{value or ""}"'
    return str(value).lower() if kind is bool else str(value or 12)
