"""One obligation's outcome: how far the truth lies beyond its limit, in standard uncertainties; positive is missed."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Margin:
    """`by_u` above 0: missed by so many standard uncertainties. `what` says where and how much."""

    obligation: str
    by_u: float
    what: str


@dataclass(slots=True)
class Labels:
    """What the obligations say of one start.

    `margins`: of limits. `lacking`: evidence that is plainly not there. `unsure`: what could be read either way, so that nothing is
    asked of the verdict but that a true fault does not pass.
    """

    margins: list[Margin] = field(default_factory=list)
    lacking: list[str] = field(default_factory=list)
    unsure: list[str] = field(default_factory=list)

    def add(self, obligation: str, value: float, limit: float, u: float, what: str) -> None:
        """A value that must not exceed `limit`."""
        self.margins.append(Margin(obligation, (value - limit) / max(u, 1e-12), what))
