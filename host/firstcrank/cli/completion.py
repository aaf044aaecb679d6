"""firstcrank completion SHELL: the lines that make a shell complete commands and options."""

from __future__ import annotations

import click

RUN = {
    "bash": "firstcrank completion bash > ~/.local/share/bash-completion/completions/firstcrank",
    "zsh": "firstcrank completion zsh > a folder of your fpath, as _firstcrank",
    "fish": "firstcrank completion fish > ~/.config/fish/completions/firstcrank.fish",
}


@click.command()
@click.argument("shell", type=click.Choice(list(RUN)))
def completion(shell: str) -> int:
    """Print what makes SHELL complete commands and options; put it where the shell looks.

    \b
    Examples:
      firstcrank completion bash > ~/.local/share/bash-completion/completions/firstcrank
      firstcrank completion fish > ~/.config/fish/completions/firstcrank.fish
    """
    from click.shell_completion import get_completion_class

    from firstcrank.cli.main import cli

    found = get_completion_class(shell)
    assert found is not None
    made = found(cli, {}, "firstcrank", "_FIRSTCRANK_COMPLETE")
    click.echo(made.source_template % made.source_vars())
    return 0
