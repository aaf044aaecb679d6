"""What to do next where no cause is named: every NO VERDICT has its step, with the standing caution where it cranks again."""

from __future__ import annotations

from firstcrank.analysis.causes.advice import Advice
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId, Result, Scope, Verdict

CRANKS = ("K1",)
TOO_CLOSE = Advice(
    "Record again; if it stays too close to tell, calibrate the board with a meter for a smaller uncertainty.",
    CRANKS,
)

NEXT: dict[CheckId, Advice] = {
    CheckId.RECORDING_KIND: Advice("Record a start.", CRANKS),
    CheckId.RECORDING_INTACT: Advice("Record again; if the board's own trace is whole, fetch it again.", CRANKS),
    CheckId.CALIBRATED: Advice(
        "Calibrate the board (firstcrank board calibrate), then judge this recording with --calibration."
    ),
    CheckId.READABLE: Advice("Record again.", CRANKS),
    CheckId.SYSTEM_VOLTAGE: Advice("Check the battery lead on the post with a meter, and the system voltage chosen."),
    CheckId.LEADS_IN_PLACE: Advice("Exchange the battery lead and the key lead, then record again.", CRANKS),
    CheckId.LEADS_APART: Advice(
        "Clip the key lead on at the module's plug, the battery lead on the post, a source lead before the switch; then record again.",
        CRANKS,
    ),
    CheckId.CLIPS_STILL: Advice("Clip the ground lead on the negative post itself, tug each clip, then record again.", CRANKS),
    CheckId.KEY_SEEN_DEAD: Advice(
        "Key OFF for a few seconds, then ON, wait, START; if the lead reads volts with the key OFF, find what feeds it.",
        CRANKS,
    ),
    CheckId.CRANK_SEEN: Advice("Clip the starter lead on the S terminal (50), then record a crank.", CRANKS),
    CheckId.CRANK_BY_STARTER: Advice(
        "Check the starter lead on the S terminal (50), then crank with the key.", CRANKS, "Never bridge the solenoid."
    ),
    CheckId.CRANK_LONG_ENOUGH: Advice(
        "If the engine runs by itself, say so (--running); else crank again for longer, within the starter's limit.", CRANKS
    ),
    CheckId.KEY_LIVE_BEFORE: Advice("Record again: key OFF, then ON, wait a moment, then START.", CRANKS),
    CheckId.KEY_HELD_AFTER: Advice("Record again and leave the key ON for some seconds after the starter lets go.", CRANKS),
    CheckId.OWN_KEY: Advice("Record a start cranked with the vehicle's own key.", CRANKS),
    CheckId.MODULE_PLUGGED: Advice("Key off, plug the module in, then record again.", ("K3", "K1")),
    CheckId.RECORDING_CLOSED: Advice("USB cable and plug first, laptop kept awake; then record again to the end.", CRANKS),
    CheckId.NOTHING_MISSING: Advice("USB cable straight into the laptop, other programs closed; then record again.", CRANKS),
    CheckId.SAMPLED_FINELY: Advice(
        "Sample faster, so that no dropout fits between samples: a firstcrank board with fewer leads, another logger at its full rate "
        "with filters and averaging off; then record again.",
        CRANKS,
    ),
    CheckId.WITHIN_RANGE: Advice(
        "A lead stands at the top of its range: check --system, the board's resistors and the lead, then record again.", CRANKS
    ),
    CheckId.PLAUSIBLE: Advice(
        "Set the logger to its full rate, 12 bits or more, filters and averaging off; clips tight; then record again and judge its file "
        "as it was written.",
        CRANKS,
    ),
}


def next_step(verdict: Verdict, findings: tuple[Finding, ...]) -> Advice | None:
    """The step of the first evidence that lacks, in the table's order; None where the verdict is no NO VERDICT."""
    if verdict is not Verdict.NO_VERDICT:
        return None
    lacking = {f.check for f in findings if f.scope is Scope.EVIDENCE and f.result is Result.UNDECIDED}
    return next((advice for check, advice in NEXT.items() if check in lacking), TOO_CLOSE)
