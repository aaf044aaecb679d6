"""Files of an earlier firstcrank are read for ever, and its verdicts stay unless changed.py says why another one is right."""

from __future__ import annotations

import io
import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from firstcrank.analysis.as_json import from_table
from firstcrank.calibration import Calibration, read_calibration
from firstcrank.cli.answers import EXIT
from firstcrank.cli.main import main
from firstcrank.cli.show import show
from firstcrank.limits import read_limits
from firstcrank.tracefiles.saved_maps import ENVIRONMENT, saved_maps

from .changed import READINGS, RENAMED, VERDICTS
from .digest import digest
from .reading import judgement_of, recording_of

DATA = Path(__file__).parent / "data"
EXPECTED: dict[str, dict[str, Any]] = json.loads((DATA / "expected.json").read_text("utf-8"))["files"]
DIGESTS: dict[str, Any] = json.loads((DATA / "digests.json").read_text("utf-8"))
JUDGED = sorted(DATA.glob("*/*.judged.json"))


@pytest.fixture(autouse=True)
def golden_maps(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(ENVIRONMENT, str(DATA / "settings" / "maps.toml"))


def renamed(value: Any) -> Any:
    """A table of an old file in the words of today."""
    if isinstance(value, dict):
        return {RENAMED.get(key, key): renamed(item) for key, item in value.items()}
    if isinstance(value, list):
        return [renamed(item) for item in value]
    return RENAMED.get(value, value) if isinstance(value, str) else value


def differences(old: Any, new: Any, at: str = "") -> list[str]:
    """Where `new` lacks or alters something of `old`; what `new` has beyond it is no difference. Numbers to 1e-7."""
    if isinstance(old, dict) and isinstance(new, dict):
        lost = [f"{at}/{key} is gone" for key in old if key not in new]
        return lost + [line for key in old if key in new for line in differences(old[key], new[key], f"{at}/{key}")]
    if isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            return [f"{at}: {len(old)} entries, now {len(new)}"]
        return [line for n, (a, b) in enumerate(zip(old, new, strict=True)) for line in differences(a, b, f"{at}[{n}]")]
    number = isinstance(old, int | float) and isinstance(new, int | float) and not isinstance(old, bool)
    same = new == pytest.approx(old, rel=1e-7, abs=1e-9) if number else new == old
    return [] if same else [f"{at}: {old!r}, now {new!r}"]


def test_every_file_has_its_place_in_the_tables() -> None:
    files = {file.name for folder in ("recordings", "csv") for file in (DATA / folder).glob("*.?[cs][rv]")}
    assert len(files) >= 25
    assert files == set(DIGESTS) == {Path(case["file"]).name for case in EXPECTED.values()}
    assert files == {file.name.removesuffix(".judged.json") for file in JUDGED}
    assert {case["verdict"] for case in EXPECTED.values()} == set(EXIT)
    assert set(VERDICTS) <= set(EXPECTED), "changed.py names a case that there is not"
    assert all(change.why for change in VERDICTS.values()), "changed.py must say why"


@pytest.mark.parametrize("name", sorted(DIGESTS))
def test_it_is_read_as_it_was(name: str) -> None:
    """Bins, channels, runs, close-ups, holes, limits, answers, calibration, origin: nothing is lost, nothing reads otherwise."""
    now = json.loads(json.dumps(digest(recording_of(DATA, EXPECTED[name]))))
    known = [change.places for change in READINGS if re.fullmatch(change.files, name)]
    found = differences(renamed(DIGESTS[name]), now)
    assert not [line for line in found if not any(re.match(places, line) for places in known)]


@pytest.mark.parametrize("case", sorted(EXPECTED))
def test_the_verdict_stays(case: str) -> None:
    old, change = EXPECTED[case], VERDICTS.get(case)
    verdict, cause = (change.verdict, change.cause) if change else (old["verdict"], renamed(old["cause"]))
    judgement = judgement_of(DATA, old, recording_of(DATA, old))
    causes = [c.cause for c in judgement.likely_causes]
    assert (judgement.verdict, causes[0] if causes else None) == (verdict, cause), judgement.reasons
    assert judgement.reasons
    if change is None:
        assert EXIT[judgement.verdict] == old["exit_code"]


def test_no_bad_recording_has_become_a_pass_without_a_reason() -> None:
    """A row of changed.py that turns a FAIL or NO VERDICT into a PASS has to argue; a few words are not enough."""
    for case, change in VERDICTS.items():
        if change.verdict == "PASS" and EXPECTED[case]["verdict"] != "PASS":
            assert len(change.why.split()) >= 12, case


@pytest.mark.parametrize("case", [case for case, old in EXPECTED.items() if set(old) & {"answers", "map", "limits"} == set()])
def test_the_command_judges_a_recording_with_nothing_but_its_name(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    change = VERDICTS.get(case)
    with pytest.raises(SystemExit) as left:
        main(["judge", str(DATA / EXPECTED[case]["file"])])
    verdict = change.verdict if change else EXPECTED[case]["verdict"]
    assert left.value.code == EXIT[verdict]
    assert f"Key feed: {verdict}" in capsys.readouterr().out


@pytest.mark.parametrize("file", JUDGED, ids=lambda file: file.name)
def test_an_old_judgement_is_still_shown(file: Path) -> None:
    """Without reading the recording: as a report or a comparison of a start filed long ago does."""
    table = json.loads(file.read_text("utf-8"))
    judgement = from_table(table)
    assert judgement.verdict == table["verdict"]
    assert list(judgement.reasons) == table["reasons"]
    assert len(judgement.findings) == len(table["findings"])
    assert [d.duration_s for d in judgement.dropouts] == [d["duration_s"] for d in table["dropouts"]]
    console = Console(file=io.StringIO(), width=4000, highlight=False)
    show(console, judgement, None, title="old")
    output = console.file.getvalue()  # type: ignore[attr-defined]
    assert f"Key feed: {table['verdict']}" in output
    for reason in table["reasons"][:3]:
        assert reason[1:] in output
    assert table["next_check"][1:] in output


@pytest.mark.parametrize("system", [12, 24])
def test_a_limits_file_written_long_ago_keeps_its_numbers(system: int) -> None:
    import tomllib

    file = DATA / "settings" / f"limits_{system}v.toml"
    written = tomllib.loads(file.read_text("utf-8"))
    assert written.pop("system_v") == system
    limits = read_limits(file)
    assert limits.system_v == system
    assert len(written) >= 30 or system == 24
    for key, entry in written.items():
        value = entry["value"] if isinstance(entry, dict) else entry
        assert limits[RENAMED.get(key, key)] == value, key


def test_limits_of_ones_own_keep_their_numbers_and_sources() -> None:
    limits = read_limits(DATA / "settings" / "limits_own.toml")
    assert (limits["feed_drop_fail_v"], limits["feed_drop_loaded_fail_v"], limits["feed_drop_brief_fail_v"]) == (2.5, 2.4, 5.0)
    assert limits.sources["feed_drop_fail_v"] == "invented: another module"


def _without_lines(table: dict[str, Any]) -> dict[str, Any]:
    """A calibration's words; an older one is noted as such."""
    return {key: value for key, value in table.items() if key not in ("channels", "notes")}


def test_calibrations_keep_their_lines() -> None:
    kept = json.loads((DATA / "settings" / "calibration_measured.json").read_text("utf-8"))
    for calibration in (Calibration.from_json(kept), read_calibration(DATA / "settings" / "calibration_measured.toml")):
        now: dict[str, Any] = {**calibration.to_json()}
        for role, line in kept["channels"].items():
            for name in ("gain_v_per_code", "offset_v", "u_gain_rel", "u_offset_v", "u_shared_gain_rel", "noise_v", "filter_s"):
                assert now["channels"][role][name] == pytest.approx(line[name], rel=1e-5), (role, name)
        assert not differences(renamed(_without_lines(kept)), json.loads(json.dumps(_without_lines(now))))
    nominal = read_calibration(DATA / "settings" / "calibration_nominal.toml")
    assert nominal.kind == "nominal"
    # By hand: 33 kohm over 6.8 kohm, 3.3 V, 4096 codes; the converter's 100 kohm and more pulls a reading down by up to
    # 5.64 / 105.64, half of which is taken out, so that what is left is as much above as below.
    by_hand_v = 2672 * 3.3 / 4096 * (39.8 / 6.8) / (1 - 5.638 / 105.638 / 2)
    # The converter's wide codes, taken out now, move it by three of its four steps' share: at most 5 codes.
    assert float(nominal.channel("battery").volts(2672)) == pytest.approx(by_hand_v, abs=5 * 3.3 / 4096 * (39.8 / 6.8))


def test_saved_maps_are_read() -> None:
    maps = saved_maps()
    assert (
        renamed({"t_ms": "clock", "battery": "CH 1", "key_switch": "CH 2", "starter_coil": "CH 3"})
        == maps["bench-scope"].columns
    )
    assert maps["bench-scope"].uncertainty == "1%+50mV"
    assert maps["plain_2"].uncertainty == ""


def test_a_missing_or_altered_number_is_seen(tmp_path: Path) -> None:
    """The comparison itself: one reading, one limit or one answer off must show."""
    old = DIGESTS["feed_loose.fcr"]
    changes: list[dict[str, object]] = [
        {"bins": old["bins"] - 1},
        {"answers": {}},
        {"limits": {**old["limits"], "values": {**old["limits"]["values"], "module_minimum_v": 6.9}}},
        {"start_s": [old["start_s"][0], old["start_s"][1] + 0.001]},
    ]
    for change in changes:
        assert differences(old, {**old, **change}), change
    assert not differences(old, {**old, "new_field": 1})
    shutil.copy(DATA / "recordings" / "feed_loose.fcr", tmp_path / "a.fcr")
    whole = (tmp_path / "a.fcr").read_bytes()
    (tmp_path / "a.fcr").write_bytes(whole[: len(whole) // 2] + whole[len(whole) // 2 + 6000 :])
    damaged = json.loads(json.dumps(digest(recording_of(tmp_path, {"file": "a.fcr"}))))
    assert differences(old, damaged)
