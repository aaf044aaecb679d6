"""firstcrank help: every cause with what it is, pages without signs of Markdown, a mistyped topic answered with the nearest."""

from __future__ import annotations

import pytest

from firstcrank.analysis.causes.advice import ADVICE
from firstcrank.cli.help_topics import CAUSES, as_plain, safety_text
from firstcrank.cli.main import main
from firstcrank.nearest import did_you_mean


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        main(list(args))
    code = left.value.code
    assert isinstance(code, int)
    return code, *capsys.readouterr()


def test_each_cause_is_listed_with_what_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    assert set(CAUSES) == set(ADVICE)
    _, output, _ = run(capsys, "help")
    for cause, meaning in CAUSES.items():
        assert f"  {cause:<26}{meaning}\n" in output
    assert max(map(len, output.splitlines())) <= 80


@pytest.mark.parametrize(
    ("topic", "meant"),
    [
        ("safty", "safety"),
        ("nofire", "no-fire"),
        ("feed_dead", "feed_dead_in_start"),
        ("battery", "battery_weak or battery_cable"),
        ("heater_revesed", "heater_reversed"),
    ],
)
def test_a_mistyped_topic_is_answered_with_the_nearest(capsys: pytest.CaptureFixture[str], topic: str, meant: str) -> None:
    code, _, error = run(capsys, "help", topic)
    assert code == 2
    assert f"there is no topic {topic!r}. Did you mean {meant}" in error


def test_what_is_like_no_topic_is_sent_to_the_list(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "help", "xyzzy")[2] == "firstcrank: there is no topic 'xyzzy': 'firstcrank help' lists them\n"


@pytest.mark.parametrize(
    ("name", "meant"), [("helthy", "healthy"), ("feed_dead", "feed_dead_in_start"), ("switch_lots", "switch_lost")]
)
def test_a_mistyped_simulated_start_is_answered_with_the_nearest(
    capsys: pytest.CaptureFixture[str], name: str, meant: str
) -> None:
    code, _, error = run(capsys, "board", "info", "--port", f"sim:{name}")
    assert code == 2
    assert f"there is no simulated start called {name!r}. Did you mean {meant}" in error
    assert "firstcrank scenarios" in error


def test_the_page_on_safety_is_plain_lines_within_the_screen(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    _, output, _ = run(capsys, "help", "safety")
    assert max(map(len, output.splitlines())) <= 60
    assert not set("*#`") & set(output)
    assert output.startswith("Before you touch the key\n\nCranking an engine can crush, burn and kill")
    assert "\nThe vehicle\n- Neutral or park, parking brake on" in output
    expected = safety_text().replace("**", "").replace("`", "").removeprefix("# ").split()
    assert output.split() == expected  # nothing is left out


def test_points_and_titles_stay_apart_and_what_goes_on_is_joined() -> None:
    page = "# Title\n\nOne line\nand its end.\n\n**Part**\n- first\n  goes on\n- second **strong**\n"
    assert as_plain(page) == ["Title", "", "One line and its end.", "", "Part", "- first goes on", "- second strong"]


def test_nothing_near_is_nothing_meant() -> None:
    assert did_you_mean("", ("a", "b")) == ""
    assert did_you_mean("q", ("quick", "quiet")) == ""
