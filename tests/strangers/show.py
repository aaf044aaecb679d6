"""A start drawn to a PNG: the truth in thin lines, what was recorded in bold, key moves and cranks marked."""

from __future__ import annotations

from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt

from firstcrank.trace import Trace
from tests.strangers.start import StrangeStart


def draw(s: StrangeStart, recorded: Trace | None, path: Path, zoom: tuple[float, float] | None = None) -> None:
    """Writes the picture; `zoom` are seconds of the world's clock."""
    w, p = s.world, s.plan
    figure, axes = plt.subplots(2, 1, figsize=(16, 9), sharex=True)
    t0 = p.record.begin_s
    for role in ("battery", "key_switch", "starter_coil", "module_supply", "module_ground"):
        if role in p.record.leads or role == "key_switch":
            axes[0].plot(w.t_s, w.volts[role], lw=0.7, label=role)
    axes[0].set_title(f"{s.family} {s.seed}: truth ({p.system_v} V, {p.record.delivery}) {p.labels}")
    if recorded is not None:
        for role, channel in recorded.channels.items():
            line = axes[1].plot(recorded.mid_s + t0, channel.mean_v, lw=0.7, label=role)[0]
            axes[1].fill_between(
                recorded.mid_s + t0, channel.lowest_v, channel.highest_v, color=line.get_color(), alpha=0.3, lw=0
            )
    for ax in axes:
        for t, to in p.key:
            ax.axvline(t, color="k", lw=0.5)
            ax.text(t, ax.get_ylim()[1], to, fontsize=7)
        for c in p.cranks:
            ax.axvspan(c.begin_s, c.end_s, color="orange", alpha=0.1)
        ax.legend(loc="lower right", fontsize=7)
        ax.grid(alpha=0.3)
    if zoom:
        axes[0].set_xlim(*zoom)
    figure.tight_layout()
    figure.savefig(path, dpi=70)
    plt.close(figure)
