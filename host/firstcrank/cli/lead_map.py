"""Which lead is on which pin: --lead ROLE=PIN, or the minimal build's three."""

from __future__ import annotations

from typing import TYPE_CHECKING

from firstcrank.errors import UsageError

MINIMAL = (("battery", 26), ("key_switch", 27), ("starter_coil", 28))

if TYPE_CHECKING:
    from firstcrank.wire_bodies import ChannelBody


def channels_of(leads: tuple[str, ...]) -> list[ChannelBody]:
    """Role and pin of each lead; the minimal build's where none is named. Raises UsageError."""
    from firstcrank.roles import REQUIRED_ROLES, ROLES

    if not leads:
        return [{"role": role, "pin": pin} for role, pin in MINIMAL]
    channels: list[ChannelBody] = []
    for lead in leads:
        role, _, pin = lead.partition("=")
        if role not in ROLES or not pin.isdigit():
            raise UsageError(f"--lead {lead!r}: write it as ROLE=PIN with one of {', '.join(ROLES)}")
        if role in [c["role"] for c in channels] or int(pin) in [c["pin"] for c in channels]:
            raise UsageError(f"--lead {lead!r}: each role and each pin only once")
        channels.append({"role": role, "pin": int(pin)})
    missing = [role for role in REQUIRED_ROLES if role not in [c["role"] for c in channels]]
    if missing:
        raise UsageError(f"--lead: {' and '.join(missing)} must be among the leads")
    return sorted(channels, key=lambda channel: int(channel["pin"]))  # the converter takes them in rising order
