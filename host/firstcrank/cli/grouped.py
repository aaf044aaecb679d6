"""Help of a command with many options, in groups: what is asked for first stands first."""

from __future__ import annotations

import click

GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Keeping", ("out", "job", "store", "csv", "folder", "recorded", "caption", "again")),
    ("Board and leads", ("port", "leads", "bin_ms", "acquisition", "calibration_file", "off")),
    (
        "Answers that a recording cannot show",
        (
            "cranked_with_key", "module_plugged_in", "feed_kind", "cylinders", "temperature_c", "charger_connected", "engine_running",
            "known_load_ohm", "hold_on_s", "supported", "place",
        ),
    ),
    ("The engine maker's limits", ("starter_on", "starter_rest", "oil_within")),
    ("CSV files of other loggers", ("columns", "uncertainty", "save_as", "saved_name")),
    ("Limits", ("limits_file", "system")),
    ("How long", ("watch", "longest_s", "seconds", "patience")),
)  # fmt: skip
OTHERS = "Others"


class GroupedCommand(click.Command):
    """A command whose options are listed by GROUPS; an option that stands in none comes last."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Writes the sections. Called by click."""
        group_of = {name: title for title, names in GROUPS for name in names}
        rows: dict[str, list[tuple[str, str]]] = {title: [] for title in (*(title for title, _ in GROUPS), OTHERS)}
        for parameter in self.get_params(ctx):
            row = parameter.get_help_record(ctx)
            if row is not None and isinstance(parameter, click.Option):
                rows[group_of.get(parameter.name or "", OTHERS)].append(row)
        for title, found in rows.items():
            if found:
                with formatter.section(title):
                    formatter.write_dl(found)
