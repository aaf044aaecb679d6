"""What each command does, and the check of every number in it before anything is touched."""

import json

from . import about, wire
from .roles import ROLES

if 0:  # for mypy alone: compiled to nothing
    from board_types import Config, Table, Unchecked

    from .app import App
    from .captures import Captures

MOST_CHANNELS = 8
HIGHEST_PIN = 63
DEFAULT_CHANNELS = (("battery", 26), ("key_switch", 27), ("starter_coil", 28))
CAPTURE_PIECE = 768
MOST_LINK_BYTES = 1 << 20
MOST_PIECES = 6  # for one command; the outbox holds eight
BIN_LOW_US, BIN_HIGH_US = 250, 100000


class CommandRejected(Exception):
    """The command is understood and not carried out; the text goes to the host."""


def default_config(stored: "Table | Unchecked") -> "Config":
    """The configuration kept on the board, or the minimal build's."""
    config: "Config" = {
        "channels": [{"role": role, "pin": pin} for role, pin in DEFAULT_CHANNELS],
        "bin_us": 768,
        "trigger_code": 0,
        "acquisition": "auto",
        "ring_bins": 4096,
    }
    if stored:
        try:
            config.update(checked(stored, config))
        except CommandRejected:
            pass  # a damaged file must not keep the board from answering
    return with_key(config)


def with_key(config: "Config") -> "Config":
    """Adds the numbers of the key feed's and the battery's channel, -1 for none."""
    config["key_channel"] = config["battery_channel"] = -1
    for number, channel in enumerate(config["channels"]):
        if channel["role"] == "key_switch":
            config["key_channel"] = number
        if channel["role"] == "battery":
            config["battery_channel"] = number
    return config


def checked(body: "Table", config: "Config") -> "Table":
    """The known keys of `body`, each within its range. Raises CommandRejected naming the key."""
    new: "Table" = {}
    if "channels" in body:
        channels = body["channels"]
        if not isinstance(channels, list) or not 1 <= len(channels) <= MOST_CHANNELS:
            raise CommandRejected("channels must be a list of 1 to %d" % MOST_CHANNELS)
        seen = []
        for channel in channels:
            role = channel.get("role") if isinstance(channel, dict) else None
            pin = channel.get("pin") if isinstance(channel, dict) else None
            if role not in ROLES or role in seen or not isinstance(pin, int) or not 0 <= pin <= HIGHEST_PIN:
                raise CommandRejected("channel %s: roles are %s, each once, with a pin number" % (role, ", ".join(ROLES)))
            seen.append(role)
            if [c["pin"] for c in channels].count(pin) > 1:
                raise CommandRejected("pin %d is named twice: each lead has its own" % pin)
        # In rising order, as the converter takes them: whatever order they are named in, the fast acquisition can have them.
        new["channels"] = [{"role": c["role"], "pin": c["pin"]} for c in sorted(channels, key=lambda c: c["pin"])]
    for key, low, high in (("bin_us", BIN_LOW_US, BIN_HIGH_US), ("trigger_code", 0, 4095), ("ring_bins", 16, 65535)):
        if key in body:
            value = body[key]
            if not isinstance(value, int) or not low <= value <= high:
                raise CommandRejected("%s is %s, must be a whole number from %d to %d" % (key, value, low, high))
            new[key] = value
    if "acquisition" in body:
        if not isinstance(body["acquisition"], str):
            raise CommandRejected("acquisition must be a name")
        new["acquisition"] = body["acquisition"]
    return new


def dispatch(app: "App", frame: "wire.Frame") -> None:
    """Carries out one command frame. Raises CommandRejected with the reason; frames that are not commands are ignored."""
    handler = HANDLERS.get(frame.kind)
    if handler is not None:
        handler(app, frame)


def _body(frame: "wire.Frame") -> "Table":
    try:
        body = json.loads(frame.body.decode()) if frame.body else {}
    except ValueError:
        raise CommandRejected("the command's body is not JSON")
    if not isinstance(body, dict):
        raise CommandRejected("the command's body is not a table")
    return body


def _identify(app: "App", frame: "wire.Frame") -> None:
    app.outbox.put(wire.IDENTITY, about.identity(app))


def _configure(app: "App", frame: "wire.Frame") -> None:
    if app.state != "idle":
        raise CommandRejected("%s: stop first" % app.state)
    app.set_config(_body(frame))
    app.reply(wire.CONFIGURE, True, "")


def _start(app: "App", frame: "wire.Frame") -> None:
    app.start(frame.recording_id)


def _stop(app: "App", frame: "wire.Frame") -> None:
    app.reply(wire.STOP, True, "")
    app.stop("the host stopped it")


def _arm(app: "App", frame: "wire.Frame") -> None:
    """With {"alone": table} the board works alone from now on, with {"alone": null} no more; else it waits for the inrush."""
    body = _body(frame)
    if "alone" not in body:
        app.arm()
        return
    table = body["alone"]
    if table is not None:
        from .alone_table import check

        check(table)
    if app.state != "idle":
        raise CommandRejected("already %s: stop first" % app.state)
    before = app.parts.store.load("alone")
    app.parts.store.save("alone", table)  # first: erasing flash while the acquisition runs would cost it readings
    app.alone_error = None
    if table is not None:
        try:
            app.work_alone(table)
        except CommandRejected:
            app.parts.store.save("alone", before)
            raise
    app.reply(wire.ARM, True, "", alone=table is not None)


def _captures(app: "App", frame: "wire.Frame") -> None:
    """{"do": "list"}, {"do": "read", "number", "offset", "pieces"}, {"do": "fetched", "number"}, {"do": "shown"}."""
    captures = app.parts.captures
    if captures is None:
        raise CommandRejected("this board has no memory for captures")
    if app.state != "idle":
        raise CommandRejected("%s: stop first" % app.state)
    body = _body(frame)
    do = body.get("do")
    try:
        if do == "list":
            app.reply(wire.CAPTURES, True, "", captures=captures.table(), journal=app.journal.report({}))
        elif do == "read":
            _send_pieces(app, captures, body)
        elif do == "fetched":
            captures.mark_fetched(body["number"])
            app.reply(wire.CAPTURES, True, "")
        elif do == "shown":
            app.journal.forget()
            app.reply(wire.CAPTURES, True, "")
        else:
            raise CommandRejected("captures: do is list, read, fetched or shown")
    except (LookupError, TypeError) as error:
        raise CommandRejected("captures: %s is missing or no number" % error)
    except OSError as error:
        raise CommandRejected("capture %s: %s" % (body.get("number"), error))


def _send_pieces(app: "App", captures: "Captures", body: "Table") -> None:
    number, offset = body["number"], body["offset"]
    piece = bytearray(CAPTURE_PIECE)
    total = captures.size(number)
    for _ in range(min(body.get("pieces", 1), MOST_PIECES)):
        count = captures.read(number, offset, piece)
        app.outbox.put(wire.CAPTURE, wire.pack_capture(number, offset, total, piece[:count]))
        offset += count
        if not count:
            break


def _status(app: "App", frame: "wire.Frame") -> None:
    body = about.counters(app)
    body["state"] = app.state
    if app.alone is not None:
        body["alone"] = app.alone.status()
    body["ticks_us"] = app.parts.clock.ticks_us() & 0x3FFFFFFF
    app.outbox.put(wire.STATUS, json.dumps(body).encode())


def _self_check(app: "App", frame: "wire.Frame") -> None:
    if app.state != "idle":
        raise CommandRejected("%s: stop first" % app.state)
    link_bytes = _body(frame).get("link_bytes")
    if isinstance(link_bytes, int):
        app.test_link(min(max(link_bytes, 0), MOST_LINK_BYTES))
        return
    from .selfcheck import self_check  # only here: memory is short

    channels = app.config["channels"]
    drive_below: "Unchecked" = _body(frame).get("drive_below")
    drive = app.parts.drive if isinstance(drive_below, dict) and app.config["acquisition"] == "auto" else None
    try:
        body = self_check(app.parts.clock, app.parts.adcs(app.config), channels, app.parts.temperature_c)
        if drive:
            for entry in body["inputs"]:
                limit = drive_below.get(entry["role"])
                if isinstance(limit, int) and entry["highest_code"] < limit:  # a live wire is left alone
                    entry["driven_codes"] = drive(entry["pin"])
    except (ValueError, OSError, MemoryError) as error:
        raise CommandRejected("self-check: %s" % (str(error) or "short of memory"))
    body["firmware"] = wire.FIRMWARE_VERSION
    body["bad_commands"] = app.bad_commands
    app.outbox.put(wire.CHECK, json.dumps(body).encode())


def _calibrate(app: "App", frame: "wire.Frame") -> None:
    body = _body(frame)
    if "store" in body:
        if app.state != "idle":
            raise CommandRejected("%s: stop first" % app.state)
        if not about.is_calibration(body["store"]):
            raise CommandRejected("calibration: an object is asked for, and its channels as an object")
        app.parts.store.save("calibration", body["store"])
    app.reply(wire.CALIBRATE, True, "", calibration=app.parts.store.load("calibration"))


def _leave(app: "App", frame: "wire.Frame") -> None:
    if app.state != "idle":
        app.stop("the host left")
    app.reply(wire.LEAVE, True, "")
    app.leaving = True


HANDLERS = {
    wire.IDENTIFY: _identify,
    wire.CONFIGURE: _configure,
    wire.START: _start,
    wire.STOP: _stop,
    wire.ARM: _arm,
    wire.CAPTURES: _captures,
    wire.GET_STATUS: _status,
    wire.SELF_CHECK: _self_check,
    wire.CALIBRATE: _calibrate,
    wire.LEAVE: _leave,
}
