"""What can go wrong between board and host, by name, for the simulated board."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LinkFault:
    """Times in seconds since the recording began; None or 0: does not happen.

    `pulled_s`: the cable is pulled. `corrupt_share`: share of bytes that arrive changed. `stalled_s`: (from, to) in which the
    host's port takes nothing. `lost_s`: stretches in which what is sent is lost. `firmware`: the version the board reports.
    `prompt`: a MicroPython prompt answers instead of our firmware. `silent`: nothing answers. `restarted_s`: the board loses power
    for a moment and starts afresh.
    """

    scenario: str
    line: str
    pulled_s: float | None = None
    corrupt_share: float = 0.0
    stalled_s: tuple[float, float] | None = None
    firmware: str = ""
    prompt: bool = False
    silent: bool = False
    restarted_s: float | None = None
    lost_s: tuple[tuple[float, float], ...] = ()


LINK_FAULTS: dict[str, LinkFault] = {
    "cable_pulled": LinkFault("healthy", "The USB cable is pulled in the middle of the crank.", pulled_s=6.0),
    "corrupted_bytes": LinkFault("healthy", "One byte in 20,000 arrives changed.", corrupt_share=5e-5),
    "host_stalls": LinkFault("healthy", "The computer takes no data for 5 s: the board must drop bins.", stalled_s=(3.5, 8.5)),
    "board_restarts": LinkFault("healthy", "The board loses power for a moment while cranking.", restarted_s=6.0),
    "other_firmware": LinkFault("healthy", "The board runs another firmware version.", firmware="0.0.0"),
    "bare_prompt": LinkFault("healthy", "The board sits at the MicroPython prompt.", prompt=True),
    "silent_board": LinkFault("healthy", "Something is on the port and never answers.", silent=True),
}
