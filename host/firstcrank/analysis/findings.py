"""The answer types by their former place."""

from firstcrank.model.context import ANSWERS, Context
from firstcrank.model.judgement import Cause, Crank, Dropout, Finding, Judgement
from firstcrank.model.judgement import Interval as Phase

__all__ = ["ANSWERS", "Cause", "Context", "Crank", "Dropout", "Finding", "Judgement", "Phase"]
