"""What was decided of a recording, as lines of the log."""

from __future__ import annotations

from firstcrank.log import logger
from firstcrank.model.judgement import Judgement

LOG = logger(__name__)


def log_verdict(judgement: Judgement, name: str) -> None:
    """What was decided of a recording, and why."""
    LOG.info("%s: %s, key feed %s", name, judgement.verdict, judgement.feed.verdict)
    for reason in judgement.reasons:
        LOG.info("%s: because %s", name, reason)
    for cause in judgement.likely_causes:
        LOG.info("%s: cause %s, confidence %.2f", name, cause.cause, cause.confidence)
