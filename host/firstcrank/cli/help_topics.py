"""firstcrank help TOPIC: safety, what to do where it cranks and does not fire, each cause's check with its cautions."""

from __future__ import annotations

from collections.abc import Iterable
from importlib import resources
from pathlib import Path

import click

from firstcrank.cli.say import say

# Common practice, no single source; "no smoke means no fuel" stands in published manuals.
NO_FIRE = (
    "PASS says only that the key feed held. No smoke while cranking: no fuel is delivered. In this order:",
    "1. Codes and immobiliser: read them, the lamp's message.",
    "2. Engine speed seen by the module while cranking (crank sensor).",
    "3. Rail pressure rises while cranking, by the maker's figure.",
    "4. Low-pressure supply and air in it: clear hose, suction side.",
    "5. Module supply and ground while cranking (leads module_supply and module_ground).",
    "6. WAIT lamp's cycle: cranked at once when it went out?",
    "7. Compression.",
)


@click.command("help")
@click.argument("topic", default="")
def help_topics(topic: str) -> int:
    """Say more about TOPIC: safety, no-fire, cautions, or a cause such as feed_ballast.

    \b
    Examples:
      firstcrank help no-fire
      firstcrank help safety
      firstcrank help feed_dead_in_start
    """
    from firstcrank.analysis.causes.advice import ADVICE
    from firstcrank.analysis.causes.cautions import STANDING
    from firstcrank.errors import UsageError

    if topic == "no-fire":
        _lines((*NO_FIRE, f"Caution: {STANDING['K1']}", f"Caution: {STANDING['K4']}"))
    elif topic == "safety":
        _lines(safety_text().splitlines())
    elif topic == "cautions":
        _lines(f"{key}: {text}" for key, text in STANDING.items())
    elif topic in ADVICE:
        advice = ADVICE[topic]
        _lines((f"Check next: {advice.check}", *(f"Caution: {text}" for text in advice.cautions)))
    elif not topic:
        _lines(
            ("Topics: safety, no-fire, cautions; causes:", *(f"  {cause}" for cause in ADVICE), "Commands: firstcrank --help")
        )
    else:
        raise UsageError(f"no topic {topic!r}: safety, no-fire, cautions or one of {', '.join(ADVICE)}")
    return 0


def safety_text() -> str:
    """The page on safety: carried in the wheel, in the source tree beside the package."""
    carried = resources.files("firstcrank.data") / "safety.md"
    if carried.is_file():
        return carried.read_text("utf-8")
    return (Path(__file__).parents[3] / "docs" / "safety.md").read_text("utf-8")


def _lines(lines: Iterable[str]) -> None:
    for line in lines:
        say(line)
