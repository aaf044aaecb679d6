"""A simulated board brings its scenario's leads, answers and system voltage; what was typed wins."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar, cast

from firstcrank.cli.answers import chosen_limits
from firstcrank.cli.options import BoardOptions

if TYPE_CHECKING:
    from firstcrank.limits import Limits
    from firstcrank.link.board_client import BoardClient


Options = TypeVar("Options", bound=BoardOptions)


def as_simulated(client: BoardClient, options: Options) -> Options:
    """The options with what the simulated vehicle brings where nothing was typed; unchanged for a real board."""
    if not client.link.synthetic:
        return options
    identity = client.identity
    leads = [f"{lead['role']}={lead['pin']}" for lead in identity.get("leads", ())]
    answers = {name: value for name, value in identity.get("answers", {}).items() if options.get(name) is None}
    system = options["system"]
    if system is None and options["limits_file"] is None and identity.get("system_v"):
        system = str(identity["system_v"])
    return cast("Options", {**options, **answers, "leads": options["leads"] or tuple(leads), "system": system})


def limits_of(options: BoardOptions) -> Limits:
    """The limits that the options name."""
    return chosen_limits(options["limits_file"], options["system"])
