"""What the board reports of itself: the bodies of IDENTITY and STREAM, and the counters of STATUS and END."""

import gc
import json

from . import arena, wire

if 0:  # for mypy alone: compiled to nothing
    from board_types import Table

    from .app import App


def identity(app: "App") -> bytes:
    """Body of IDENTITY."""
    body = {"product": "firstcrank", "firmware": wire.FIRMWARE_VERSION, "wire": wire.VERSION, "state": app.state}
    body.update(app.parts.about)
    if app.alone_error:
        body["alone_error"] = app.alone_error
    if arena.why_not():
        body["short_of_memory"] = arena.why_not()
    app.journal.report(body)
    return json.dumps(body).encode()


def stream(app: "App") -> bytes:
    """Body of STREAM for the acquisition that runs."""
    config = app.used
    body = {
        "channels": config["channels"],
        "key_channel": config["key_channel"],
        "trigger_code": config["trigger_code"],
        "bin_us": config["bin_us"],
        "mean_scale": wire.MEAN_SCALE,
        "code_top": wire.CODE_TOP,
        "ticks_wrap_us": wire.TICKS_WRAP_US,
        "firmware": wire.FIRMWARE_VERSION,
        "board": app.parts.about.get("board"),
        "chip": app.parts.about.get("chip"),
        "micropython": app.parts.about.get("micropython"),
    }
    body.update(app.acquisition.describe())
    if app.pretrigger_bins:
        body["pretrigger_bins"] = app.pretrigger_bins
    if app.alone is not None:
        body["alone"] = app.alone.given()
    calibration = app.parts.store.load("calibration")
    if calibration and is_calibration(calibration):  # a damaged file must not keep the board from recording
        roles = [entry["role"] for entry in config["channels"]]
        lines = calibration.get("channels") or {}
        kept = {role: lines[role] for role in roles if role in lines}
        body["calibration"] = dict(calibration, channels=kept)  # of the leads that are on: a frame is short
    return json.dumps(body).encode()


def is_calibration(table: object) -> bool:
    """Whether `table` can be a calibration, or None, which takes it back."""
    return table is None or isinstance(table, dict) and isinstance(table.get("channels") or {}, dict)


def counters(app: "App") -> "Table":
    """Everything lost so far, and a little of what was done."""
    acquisition, ring = app.acquisition, app.ring
    gc.collect()  # so that free_bytes is what is really free; the interrupt goes on folding
    body = {
        "lost_conversions": acquisition.lost_conversions if acquisition else 0,
        "lost_bins": ring.lost_bins if ring else 0,
        "short_writes": app.outbox.short_writes,
        "dropped_control": app.outbox.dropped_control,
        "bad_commands": app.bad_commands,
        "bins_sent": app.outbox.bins_sent,
        "conversions": str(acquisition.conversions()) if acquisition else "0",
        "free_bytes": gc.mem_free() if hasattr(gc, "mem_free") else 0,
    }
    if hasattr(acquisition, "counters"):
        body.update(acquisition.counters())
    return body
