"""firstcrank help TOPIC: safety, where it cranks and does not fire, each cause's check with its cautions, schemas of JSON."""

from __future__ import annotations

from collections.abc import Iterable
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

import click

from firstcrank.cli.no_fire import NO_FIRE, ONLY_THE_FEED
from firstcrank.cli.say import say, say_json
from firstcrank.cli.wrapped import wrapped_text

# What each cause is, in a line, as the list of topics shows it.
CAUSES = {
    "feed_dead_in_start": "live with KEY ON, dead or weak in START",
    "feed_from_start_terminal": "live in START alone",
    "feed_lost_at_turn": "lost while the key travels",
    "feed_relay": "its relay lets go as the battery sags",
    "feed_loose": "a loose contact",
    "feed_ballast": "a series resistor is still in the feed",
    "feed_resistance": "too much resistance in the feed",
    "fuse_or_link": "fuse or link open, or the lead off",
    "battery_weak": "a weak battery",
    "battery_cable": "a poor clamp or cable at the battery",
    "ground_path": "a poor ground (earth)",
    "starter_control_drop": "the S terminal (50) gets too little",
    "heater_reversed": "heater solenoid wired the wrong way round",
    "heater_feed_low": "heater solenoid gets too little",
    "heater_loose": "heater solenoid's circuit opens",
    "backfeed_after_off": "the feed stays alive after key off",
    "module_supply_drop": "the module's own supply is too weak",
    "no_charge": "nothing charges the battery",
    "slow_crank": "the engine turns too slowly",
    "uneven_compression": "one cylinder compresses less",
}
PAGES = ("safety", "no-fire", "cautions", "json")


@click.command("help")
@click.argument("topic", default="")
def help_topics(topic: str) -> int:
    """Say more about TOPIC: safety, no-fire, cautions, a cause such as feed_ballast, or json, what scripts read.

    \b
    Examples:
      firstcrank help no-fire
      firstcrank help safety
      firstcrank help feed_dead_in_start
      firstcrank help judge.schema.json > judge.schema.json
    """
    from firstcrank.analysis.causes.advice import ADVICE
    from firstcrank.analysis.causes.cautions import STANDING
    from firstcrank.errors import UsageError

    if topic == "no-fire":
        _lines((ONLY_THE_FEED, *NO_FIRE, f"Caution: {STANDING['K1']}", f"Caution: {STANDING['K4']}"))
    elif topic == "safety":
        _lines(as_plain(safety_text()))
    elif topic == "cautions":
        _lines(f"{key}: {text}" for key, text in STANDING.items())
    elif topic in ADVICE:
        advice = ADVICE[topic]
        _lines((f"Check next: {advice.check}", *(f"Caution: {text}" for text in advice.cautions)))
    elif topic == "json":
        _lines(("JSON Schemas of what is printed and written as JSON:", *(f"  {name}" for name in schemas())))
    elif topic in schemas():
        for line in schemas()[topic].read_text("utf-8").splitlines():
            say_json(line)
    elif not topic:
        topics = f"Topics: {', '.join(PAGES)}; causes:"
        _lines((topics, *(f"  {cause:<26}{CAUSES[cause]}" for cause in ADVICE), "Commands: firstcrank --help"))
    else:
        from firstcrank.nearest import did_you_mean

        meant = did_you_mean(topic, (*PAGES, *ADVICE, *schemas())) or ":"
        raise UsageError(f"there is no topic {topic!r}{meant} 'firstcrank help' lists them")
    return 0


def schemas() -> dict[str, Traversable]:
    """JSON Schemas by their file's name, in the order of the names."""
    found = (resources.files("firstcrank.data") / "schemas").iterdir()
    return {one.name: one for one in sorted(found, key=lambda one: one.name)}


def safety_text() -> str:
    """The page on safety: carried in the wheel, in the source tree beside the package."""
    carried = resources.files("firstcrank.data") / "safety.md"
    if carried.is_file():
        return carried.read_text("utf-8")
    return (Path(__file__).parents[3] / "docs" / "safety.md").read_text("utf-8")


def as_plain(page: str) -> list[str]:
    """A page in Markdown as lines to read: a paragraph or a point is one line, the signs of headings and emphasis are gone."""
    lines: list[str] = []
    for line in page.replace("**", "").replace("`", "").splitlines():
        text = line.strip()
        goes_on = bool(lines and lines[-1]) and not text.startswith(("- ", "#")) and not _is_title(line, page)
        if text and goes_on and not _is_title(lines[-1], page):
            lines[-1] += f" {text}"
        else:
            lines.append(text.lstrip("# "))
    return lines


def _is_title(line: str, page: str) -> bool:
    """Whether the page has this line alone in bold, or as its heading."""
    return f"\n**{line}**\n" in page or f"# {line}\n" in page


def _lines(lines: Iterable[str]) -> None:
    for line in lines:
        for part in wrapped_text(line).split("\n"):
            say(part)
