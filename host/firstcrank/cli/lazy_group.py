"""A group of commands that imports a command's module when the command is called, so that start-up stays short."""

from __future__ import annotations

import importlib
from collections.abc import Mapping

import click

# "name": (where the click command is, one line of help). ENTRY_POINT: brought by a package, under the group's entry points.
CommandTable = Mapping[str, tuple[str, str]]
ENTRY_POINT = "entry point"


class LazyGroup(click.Group):
    """`table` holds the commands in the order of the help, which is made from it alone: nothing is imported for it.

    `entry_points`: the entry point group whose commands are found too when they are typed; empty for none.
    """

    def __init__(
        self,
        name: str | None = None,
        *,
        table: CommandTable,
        entry_points: str = "",
        help: str | None = None,
        params: list[click.Parameter] | None = None,
        callback: object = None,
        context_settings: dict[str, object] | None = None,
    ) -> None:
        super().__init__(name, help=help, params=params, callback=callback, context_settings=context_settings)
        self._table, self._entry_points = table, entry_points

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the table's order."""
        return list(self._table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command itself, imported now."""
        where = self._table.get(cmd_name, (ENTRY_POINT, ""))[0]
        if where == ENTRY_POINT:
            return self._by_entry_point(cmd_name) if self._entry_points else None
        module, _, attribute = where.partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def resolve_command(self, ctx: click.Context, args: list[str]) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does; a name that there is not is answered with the nearest ones."""
        name = args[0] if args else ""
        if name and not name.startswith("-") and self.get_command(ctx, name) is None:
            from firstcrank.nearest import did_you_mean

            hint = did_you_mean(name, self._table, most=2) or f". There are {', '.join(self._table)}."
            ctx.fail(f"No such command '{name}'{hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Help from the table alone."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in self._table.items()])

    def _by_entry_point(self, name: str) -> click.Command | None:
        from importlib.metadata import entry_points

        from firstcrank.extras import extra_packages

        for point in entry_points(group=self._entry_points, name=name):
            with extra_packages("sim"):
                command: click.Command = point.load()
            return command
        return None
