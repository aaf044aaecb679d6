"""firstcrank help TOPIC: safety, where it cranks and does not fire, each cause's check with its cautions, schemas of JSON."""

from __future__ import annotations

from collections.abc import Iterable
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

import click

from firstcrank.cli.no_fire import NO_FIRE, ONLY_THE_FEED
from firstcrank.cli.say import say


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
        _lines(safety_text().splitlines())
    elif topic == "cautions":
        _lines(f"{key}: {text}" for key, text in STANDING.items())
    elif topic in ADVICE:
        advice = ADVICE[topic]
        _lines((f"Check next: {advice.check}", *(f"Caution: {text}" for text in advice.cautions)))
    elif topic == "json":
        _lines(("JSON Schemas of what is printed and written as JSON:", *(f"  {name}" for name in schemas())))
    elif topic in schemas():
        _lines(schemas()[topic].read_text("utf-8").splitlines())
    elif not topic:
        topics = "Topics: safety, no-fire, cautions, json; causes:"
        _lines((topics, *(f"  {cause}" for cause in ADVICE), "Commands: firstcrank --help"))
    else:
        raise UsageError(f"no topic {topic!r}: safety, no-fire, cautions, json or one of {', '.join(ADVICE)}")
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


def _lines(lines: Iterable[str]) -> None:
    for line in lines:
        say(line)
