"""Draws docs/led.svg from the firmware's own patterns: python docs/draw_led.py"""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import escape

from firstcrank_sim.board.firmware_program import load

TARGET = Path(__file__).parent / "led.svg"
SHOWN_MS = 6000
LEFT, TOP, ROW, WIDTH, TIMELINE = 16, 44, 46, 960, 520
HIGH = 16
# pattern, what is seen, what it means, what to do
STATES = (
    ("idle", "a short blip every second", "waiting for the laptop"),
    ("recording", "a second on, a second off", "recording for the laptop"),
    ("waiting", "a blip every 3 s", "alone: key OFF, then KEY ON"),
    ("ready", "two blips every 2 s", "alone: key seen ON. Crank now"),
    ("cranking", "on", "alone: cranking, or watching what comes after"),
    ("keeping", "fast flicker", "alone: keeping the trace. Do not unplug"),
    ("PASS", "long on, short off", "alone: PASS"),
    ("FAIL", "three blips, pause", "alone: FAIL"),
    ("NO VERDICT", "one long, one short", "alone: NO VERDICT"),
    ("PASS, not kept", "an outcome, then six fast blips", "the same, but the trace was not kept: fetch first"),
    ("error", "two long, two short", "an error, or a table from before an update: board check"),
)


def times(name: str) -> tuple[int, ...]:
    """Milliseconds on, off, on, off."""
    lamp = load("lamp")
    if name.endswith(", not kept"):
        return tuple(lamp.PATTERNS[name.removesuffix(", not kept")]) + tuple(lamp.NOT_KEPT)
    return tuple(lamp.PATTERNS[name])


def spans(pattern: tuple[int, ...]) -> list[tuple[float, float]]:
    """(begin, end) of each time the LED is on within SHOWN_MS."""
    found: list[tuple[float, float]] = []
    at, n = 0, 0
    while at < SHOWN_MS:
        length = pattern[n % len(pattern)]
        if n % 2 == 0:
            if found and found[-1][1] == at:
                found[-1] = (found[-1][0], min(at + length, SHOWN_MS))
            else:
                found.append((at, min(at + length, SHOWN_MS)))
        at += length
        n += 1
    return found


def svg() -> str:
    """The picture: one row a state, on a white ground."""
    height = TOP + ROW * len(STATES) + 12
    x0 = WIDTH - TIMELINE - LEFT
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" font-family="sans-serif" font-size="14" role="img">',
        "<title>What the board's LED shows, over six seconds</title>",
        f'<rect width="{WIDTH}" height="{height}" fill="#ffffff"/>',
    ]
    for second in range(SHOWN_MS // 1000 + 1):
        x = x0 + second * TIMELINE * 1000 / SHOWN_MS
        parts.append(f'<line x1="{x:.1f}" y1="{TOP - 12}" x2="{x:.1f}" y2="{height - 12}" stroke="#cccccc"/>')
        parts.append(f'<text x="{x:.1f}" y="{TOP - 20}" text-anchor="middle" fill="#444444">{second} s</text>')
    for n, (name, seen, meaning) in enumerate(STATES):
        y = TOP + n * ROW
        parts.append(f'<text x="{LEFT}" y="{y + 12}" font-weight="bold" fill="#000000">{escape(seen)}</text>')
        parts.append(f'<text x="{LEFT}" y="{y + 30}" fill="#333333">{escape(meaning)}</text>')
        parts.append(f'<rect x="{x0}" y="{y + 4}" width="{TIMELINE}" height="{HIGH}" fill="#eeeeee"/>')
        for begin, end in spans(times(name)):
            x, width = x0 + begin * TIMELINE / SHOWN_MS, (end - begin) * TIMELINE / SHOWN_MS
            parts.append(f'<rect x="{x:.2f}" y="{y + 4}" width="{max(width, 1):.2f}" height="{HIGH}" fill="#1b5e20"/>')
    return "\n".join([*parts, "</svg>", ""])


if __name__ == "__main__":
    TARGET.write_text(svg(), encoding="utf-8")
