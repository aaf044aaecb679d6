"""A feed's wire: what it drops there and back, what it may carry, the thinnest that is right on both counts, and its fuse."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, TypedDict

from firstcrank.errors import UsageError
from firstcrank.wiring import ampacity, gauge

WIRE_BACK, BODY_BACK = "wire", "body"
RETURNS = {WIRE_BACK: 2.0, BODY_BACK: 1.0}


@dataclass(frozen=True, slots=True)
class Run:
    """`length_m` one way; `back`: through a wire of the same size or through the body (then not in the drop: measured apart).

    `cranking`: a starter cable, unfused and loaded for seconds: judged by drop and by how warm a crank makes it.
    """

    length_m: Annotated[float, "one way"]
    amperes: float
    limit_v: Annotated[float, "the drop allowed"]
    celsius: Annotated[float, "the surroundings"] = 20.0
    back: Annotated[str, "`body` or `wire` (of the same size)"] = BODY_BACK
    cranking: Annotated[bool, "a starter cable: unfused, loaded for seconds"] = False

    def __post_init__(self) -> None:
        if self.length_m <= 0 or self.amperes <= 0 or self.limit_v <= 0:
            raise UsageError("length, current and limit must be above 0")
        if self.back not in RETURNS:
            raise UsageError(f"return is {self.back!r}, must be {' or '.join(RETURNS)}")


@dataclass(frozen=True, slots=True)
class Wire:
    """A size and how it does in a run."""

    name: Annotated[str, "`AWG 16`, `2.5 mm2`"]
    ohm_per_m: Annotated[float, "at the surroundings' temperature"]
    drop_v: Annotated[float, "there, and back where `back` is `wire`"]
    carries_a: Annotated[float, "for ever, in a bundle"]
    largest_fuse_a: Annotated[float, "that still protects it; 0: none does"]
    crank_rise_k: Annotated[float, "how much a crank of 30 s warms it"]
    drop_ok: Annotated[bool, "drops less than `limit_v`"]
    carries_ok: Annotated[bool, "outlasts the load's fuse; a starter cable: stays cool enough"]

    @property
    def right(self) -> bool:
        """Right on both counts."""
        return self.drop_ok and self.carries_ok


@dataclass(frozen=True, slots=True)
class Choice:
    """The thinnest sizes right on both counts, with what each count alone would take; `fuse_a` by the load, never above the wire."""

    awg: Wire
    metric: Wire
    awg_by_drop: str
    awg_by_heat: str
    fuse_a: float | None


class WireTable(TypedDict):
    """What `wire --json` prints of a run."""

    run: Annotated[Run, "what was asked"]
    given: Annotated[Wire | None, "the wire named by --awg or --mm2; null where none was"]
    awg: Annotated[Wire, "the thinnest right one by AWG"]
    metric: Annotated[Wire, "the thinnest right one by mm2"]
    awg_by_drop: Annotated[str, "the thinnest by its drop alone"]
    awg_by_heat: Annotated[str, "the thinnest by heat alone"]
    fuse_a: Annotated[float | None, "by the load; null for a starter cable, which has none"]


def awg_wire(size: int, run: Run) -> Wire:
    """An AWG size, stranded."""
    ohm = gauge.stranded_ohm_per_m(size, run.celsius)
    return _wire(
        f"AWG {gauge.awg_name(size)}", ohm, ampacity.awg_amperes(size, run.celsius), gauge.awg_area_m2(size) * 1e6, run
    )


def metric_wire(area_mm2: float, run: Run) -> Wire:
    """A metric size, IEC 60228 class 5."""
    ohm = gauge.metric_ohm_per_m(area_mm2, run.celsius)
    return _wire(f"{area_mm2:g} mm2", ohm, ampacity.metric_amperes(area_mm2, run.celsius), area_mm2, run)


def _wire(name: str, ohm: float, carries_a: float, area_mm2: float, run: Run) -> Wire:
    lost_v = gauge.drop_v(ohm, run.length_m, run.amperes) * RETURNS[run.back]
    rise_k = ampacity.crank_rise_k(area_mm2, run.amperes)
    warm_enough = rise_k <= ampacity.CRANK_RISE_K
    # The wire must outlast its fuse, not only its load.
    carries_ok = warm_enough if run.cranking else carries_a + 1e-9 >= ampacity.fuse_for_load(run.amperes)
    return Wire(name, ohm, lost_v, carries_a, ampacity.largest_fuse(carries_a), rise_k, lost_v < run.limit_v, carries_ok)


def choose(run: Run) -> Choice:
    """The thinnest right wire, AWG and metric. Raises UsageError where none is."""
    awg = [awg_wire(size, run) for size in gauge.AWG_SIZES]
    metric = [metric_wire(area, run) for area in ampacity.METRIC_SIZES]
    right = next((w for w in awg if w.right), None), next((w for w in metric if w.right), None)
    if right[0] is None or right[1] is None:
        raise UsageError(
            f"no wire keeps {run.amperes:g} A over {run.length_m:g} m under {run.limit_v:g} V and cool: shorten it or use a relay"
        )
    by_drop = next(w.name for w in awg if w.drop_ok)
    by_heat = next(w.name for w in awg if w.carries_ok)
    return Choice(right[0], right[1], by_drop, by_heat, None if run.cranking else ampacity.fuse_for_load(run.amperes))
