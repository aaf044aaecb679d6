"""The calibration sheet: one page to print and keep with the shop's record, from a calibration and the one before it."""

from __future__ import annotations

from collections.abc import Sequence

from jinja2 import Environment, StrictUndefined

from firstcrank.calibrating.history import Movement
from firstcrank.calibrating.procedure import expanded_v
from firstcrank.calibration import Calibration

STATED_AT_V = (3.0, 7.0, 9.0, 12.0, 14.0)

_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Calibration of board {{ board }}, {{ date }}</title>
<style>
body { font: 11pt/1.4 system-ui, sans-serif; margin: 2em auto; max-width: 48em; padding: 0 1em; color: #111; background: #fff }
table { border-collapse: collapse; width: 100%; margin: 1em 0 }
th, td { border: 1px solid #777; padding: .3em .5em; text-align: right }
th:first-child, td:first-child { text-align: left }
.sign { margin-top: 3em; display: flex; gap: 3em } .sign div { flex: 1; border-top: 1px solid #111; padding-top: .3em }
</style>
</head>
<body>
<h1>Calibration sheet</h1>
<p>Board {{ board }}<br>Date {{ date }}<br>Kind {{ kind }}<br>Meter {{ meter or "not stated" }}<br>By {{ by or "not stated" }}</p>
<table>
<caption>Lines, and the expanded uncertainty (k = 2, JCGM 100) of a mean reading</caption>
<tr><th scope="col">Input</th><th scope="col">mV per code</th><th scope="col">at code 0, mV</th>
{% for v in stated_at %}<th scope="col">± mV at {{ v }} V</th>{% endfor %}</tr>
{% for row in rows %}<tr><td>{{ row.role }}</td><td>{{ row.gain }}</td><td>{{ row.offset }}</td>
{% for u in row.stated %}<td>{{ u }}</td>{% endfor %}</tr>
{% endfor %}</table>
<h2>Since the calibration before</h2>
{% if moved %}<ul>{% for line in moved %}<li>{{ line }}</li>{% endfor %}</ul>
{% else %}<p>There is none of this board on this computer or on the board.</p>{% endif %}
{% if notes %}<h2>Notes</h2><ul>{% for note in notes %}<li>{{ note }}</li>{% endfor %}</ul>{% endif %}
<p>Calibrate again once a year, after every repair, and when a movement above is more than both calibrations explain.</p>
<div class="sign"><div>Date</div><div>Signature</div></div>
</body>
</html>
"""


def sheet(calibration: Calibration, moved: Sequence[Movement], by: str = "") -> str:
    """The page as HTML, complete in itself. Above an input's range its uncertainty is a dash."""
    rows = []
    for role, line in calibration.channels.items():
        stated = [f"{expanded_v(line, v) * 1e3:.0f}" if v < line.full_scale_v else "-" for v in STATED_AT_V]
        rows.append(
            {
                "role": role.replace("_", " "),
                "gain": f"{line.gain_v_per_code * 1e3:.4f}",
                "offset": f"{line.offset_v * 1e3:+.1f}",
                "stated": stated,
            }
        )
    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True).from_string(_PAGE)
    return page.render(
        board=calibration.board or "unknown",
        date=calibration.date or "unknown",
        kind=calibration.kind,
        meter=calibration.meter,
        by=by,
        stated_at=[f"{v:g}" for v in STATED_AT_V],
        rows=rows,
        moved=[movement.text for movement in moved],
        notes=calibration.notes,
    )
