"""Makes the golden recordings, CSVs and settings. Written for, and to be run in, a tree of the commit that README.md names."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ASKED = ("--yes", "--key-start", "--module-plugged")
HEATER = ("battery=26", "key_switch=27", "starter_coil=28", "heater_coil=29", "heater_return=30")
GROUNDS = ("battery=26", "key_switch=27", "starter_coil=28", "module_ground=29", "engine_ground=30")
ANSWERS = ("--feed", "loaded", "--cylinders", "6", "--temperature", "4", "--no-charger", "--not-running", "--known-load", "12")

# file -> (simulated board, options of `firstcrank record` beside ASKED)
RECORDINGS: dict[str, tuple[str, tuple[str, ...]]] = {
    "healthy": ("sim:healthy,seed=1", ()),
    "feed_dead_in_start": ("sim:feed_dead_in_start,seed=3", ("--bin-ms", "4")),
    "feed_lost_at_turn": ("sim:feed_lost_at_turn,seed=27", ("--bin-ms", "4")),
    "feed_loose": ("sim:feed_loose,seed=26", ("--bin-ms", "6")),
    "feed_resistance": ("sim:feed_resistance,seed=1", ("--bin-ms", "12")),
    "battery_weak": ("sim:battery_weak,seed=10", ("--bin-ms", "12")),
    "two_leads": ("sim:healthy,seed=2", ("--bin-ms", "12", "--lead", "battery=26", "--lead", "key_switch=27")),
    "heater_leads": ("sim:heater_good,seed=8", ("--bin-ms", "24", *(f"--lead={lead}" for lead in HEATER))),
    "ground_leads": ("sim:ground_engine,seed=11", ("--bin-ms", "12", *(f"--lead={lead}" for lead in GROUNDS))),
    "healthy_24v": ("sim:healthy_24v,seed=7", ("--bin-ms", "12", "--system", "24")),
    "key_never_off": ("sim:key_never_off,seed=18", ("--bin-ms", "12")),
    "stopped_early": ("sim:healthy,seed=1", ("--bin-ms", "12", "--longest", "6.8")),
    "cable_pulled": ("sim:cable_pulled,seed=1", ("--bin-ms", "12")),
    "bins_lost": ("sim:host_stalls,seed=1", ("--bin-ms", "1.5")),
    "corrupted_bytes": ("sim:corrupted_bytes,seed=1", ("--bin-ms", "6")),
    "board_restarts": ("sim:board_restarts,seed=1", ("--bin-ms", "12")),
}


def firstcrank(*args: str, given: str = "", **environment: str) -> subprocess.CompletedProcess[str]:
    """The command as typed."""
    return subprocess.run(
        [sys.executable, "-m", "firstcrank.cli.main", *args],
        capture_output=True,
        text=True,
        input=given,
        env={**os.environ, **environment},
        check=False,
    )


def settings(folder: Path) -> None:
    """Limits as written, limits of one's own, a measured calibration by the guided way, and it as a recording has it."""
    import json

    import pytest

    from firstcrank.calibration import read_calibration
    from tests.host import test_board_calibrate as guided

    for system in ("12", "24"):
        firstcrank("limits", "write", str(folder / f"limits_{system}v.toml"), "--system", system)
    (folder / "limits_own.toml").write_text(
        "system_v = 12\nfeed_drop_loaded_fail_v = 2.4\n\n"
        '[feed_drop_fail_v]\nvalue = 2.5\nsource = "invented: another module"\n\n'
        '[feed_drop_brief_fail_v]\nvalue = 5.0\nsource = "invented: another module"\n'
    )
    (folder / "limits_two_cranks.toml").write_text("system_v = 12\nafter_release_s = 8.0\n")
    out = folder / "calibration_measured.toml"
    leads = guided.Leads(guided.SHORTED, guided.BATTERY_ALONE, guided.KEY_ALONE, guided.LOW, guided.HIGH)
    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory() as elsewhere:
        lines = ["", "", "", "6.2", "14.8", ""]
        device = guided.Handled(leads, guided.drawn())
        result, _ = guided.typed(patch, Path(elsewhere), device, lines, "--out", str(out))
    assert result.exit_code == 0, result.output
    kept = json.dumps(read_calibration(out).to_json(), indent=1, ensure_ascii=False)
    (folder / "calibration_measured.json").write_text(kept + "\n", "utf-8")
    source = Path(read_calibration.__code__.co_filename).parent / "data" / "calibration_minimal_12v.toml"
    (folder / "calibration_nominal.toml").write_bytes(source.read_bytes())


def sim_boards(folder: Path, own: Path) -> None:
    """Recordings from the simulated board, by the command line. `own`: the folder of settings."""
    for name, (port, options) in RECORDINGS.items():
        done = firstcrank("record", "--port", port, "--out", str(folder / f"{name}.fcr"), *ASKED, *options)
        print(name, done.returncode, done.stderr.strip())
    # beyond the shipped limits and within those of limits_own.toml: only with its own limits it is a PASS
    wanted = ("--limits", str(own / "limits_own.toml"), "--calibration", str(own / "calibration_measured.toml"), *ANSWERS)
    port = "sim:feed_resistance,seed=1"
    done = firstcrank("record", "--port", port, "--out", str(folder / "own_limits.fcr"), *ASKED, "--bin-ms", "12", *wanted)
    print("own_limits", done.returncode, done.stderr.strip())
    whole = (folder / "feed_lost_at_turn.fcr").read_bytes()
    (folder / "torn_after_fault.fcr").write_bytes(whole[: int(len(whole) * 0.66)])
    whole = (folder / "stopped_early.fcr").read_bytes()
    (folder / "torn_in_crank.fcr").write_bytes(whole[: int(len(whole) * 0.70)])


def two_cranks(folder: Path, own: Path) -> None:
    """A start cranked twice, 1.2 s between: the second crank is the first one's waveform again."""
    from firstcrank.limits import read_limits
    from firstcrank.link.board_client import BoardClient
    from firstcrank.recorder import Plan, record
    from firstcrank_sim.board.simulated_board import SimulatedBoard
    from firstcrank_sim.board.to_trace import sim_converter
    from firstcrank_sim.scenarios.catalogue import simulate
    from tests.host.sim_recording import CHANNELS, Context, Silent

    truth = simulate("healthy", 26)
    again_s = truth.schedule.drop_s + 1.2
    back_s = again_s - (truth.schedule.leave_s - 0.2)

    class Twice:
        def volts(self, role: str, t: np.ndarray) -> np.ndarray:
            return truth.volts(role, np.where(t < again_s, t, t - back_s))

    converter = sim_converter(truth)
    client = BoardClient(SimulatedBoard("sim:two_cranks", Twice(), converter, 5))
    client.handshake()
    limits = read_limits(own / "limits_two_cranks.toml")
    answers = Context(cranked_with_key=True, module_plugged_in=True)
    path = folder / "two_cranks.fcr"
    record(client, Plan(path, limits, converter.calibration, answers, CHANNELS, bin_us=8000), Silent())
    client.close()


def alone(folder: Path, played: str, verdict: str) -> None:
    """A start that a board recorded alone, then fetched; the firmware runs in the Linux MicroPython."""
    from tests.firmware.test_alone_unix import wait_for
    from tests.firmware.unix_board import unix_board

    with tempfile.TemporaryDirectory() as name:
        flash, home = Path(name) / "flash", Path(name) / "home"
        flash.mkdir()
        with unix_board(played, flash) as port:
            assert firstcrank("board", "alone", "--port", port).returncode == 0
            wait_for(flash, verdict)
            done = firstcrank("board", "fetch", "--port", port, "--out", str(home), *ASKED)
        print("alone", played, done.returncode, done.stderr)
        (folder / f"alone_{played}.fcr").write_bytes(min(home.glob("*.fcr")).read_bytes())


def chip(folder: Path) -> None:
    """A start with close-ups: the firmware on the official image on the emulated chip. Takes minutes."""
    from tests.board.chip import emulated_chip
    from tests.board.test_end_to_end_chip import files

    began_s = time.monotonic()
    with tempfile.TemporaryDirectory() as name, emulated_chip(Path(name), "dead_in_start", files()) as port:
        options = ("--longest", "8", "--bin-ms", "4")
        out = str(folder / "close_ups.fcr")
        done = firstcrank("record", "--port", port, "--out", out, *ASKED, *options, FIRSTCRANK_TIMEOUT_SCALE="100")
    print("close_ups", done.returncode, done.stderr, f"{time.monotonic() - began_s:.0f} s")


def csvs(folder: Path, recordings: Path, own: Path) -> None:
    """Two recordings exported, and CSVs as loggers write them."""
    from firstcrank_sim.scenarios.catalogue import simulate

    for name in ("two_leads", "feed_loose"):
        assert firstcrank("export", str(recordings / f"{name}.fcr"), str(folder / f"exported_{name}.csv")).returncode == 0

    def columns(scenario: str, step_s: float) -> tuple[np.ndarray, ...]:
        truth = simulate(scenario, 1)
        t = np.arange(0.0, truth.end_s - truth.schedule.on_s + 0.8, step_s)
        seen_s = t + truth.schedule.on_s - 0.8
        rng = np.random.default_rng(9)
        volts = [truth.volts(role, seen_s) for role in truth.roles[:3]]
        return (t, *(v + rng.normal(0, 0.004, v.shape) for v in volts))

    def write(name: str, header: str, table: tuple[np.ndarray, ...], formats: tuple[str, ...], delimiter: str) -> None:
        rows = [header, *(delimiter.join(f % x for f, x in zip(formats, row, strict=True)) for row in zip(*table, strict=True))]
        text = "\n".join(rows) + "\n"
        (folder / name).write_text(text.replace(".", ",") if delimiter == ";" else text, "utf-8")

    volts = ("%.2f",) * 3
    header = "t_s;battery_v;key_switch_v;starter_coil_v"
    write("semicolons_decimal_comma.csv", "\ufeff" + header, columns("healthy", 0.9e-3), ("%.4f", *volts), ";")
    t, *rest = columns("feed_dead_in_start", 4e-3)
    write("milliseconds_mapped.csv", "clock,CH 1,CH 2,CH 3", (t * 1000, *rest), ("%.0f", *volts), ",")
    t, *rest = columns("healthy", 0.1)
    write("slow_in_ms.tsv", "t_ms\tbattery_v\tkey_switch_v\tstarter_coil_v", (t * 1000, *rest), ("%.0f", *volts), "\t")
    maps = ("t_ms=clock", "battery=CH 1", "key_switch=CH 2", "starter_coil=CH 3")
    mapped = [word for entry in maps for word in ("--map", entry)]
    file = str(folder / "milliseconds_mapped.csv")
    kept = ("--uncertainty", "1%+50mV", "--save-map", "bench-scope")
    print(firstcrank("judge", file, *mapped, *kept, FIRSTCRANK_MAPS=str(own / "maps.toml")).stderr)
    file = str(folder / "semicolons_decimal_comma.csv")
    plain = ("--map", "t_s=t_s", "--map", "battery=battery_v", "--map", "key_switch=key_switch_v", "--save-map", "plain_2")
    print(firstcrank("judge", file, *plain, FIRSTCRANK_MAPS=str(own / "maps.toml")).stderr)
