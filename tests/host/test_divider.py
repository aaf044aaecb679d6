"""The input designer as its user meets it: proposals meet every wish, conflicts are named, nonsense is refused, and fast."""

from __future__ import annotations

import json
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcrank.cli.divider import number
from firstcrank.cli.main import main
from firstcrank.divider.network import Network
from firstcrank.divider.propose import CLOSED_FORM, MUST_SURVIVE, Wishes, check, propose
from firstcrank.errors import UsageError


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from([12, 24]),
    st.floats(1.2, 1.6),
    st.floats(2e3, 2e4),
    st.floats(3e-5, 1e-3),
    st.sampled_from(["E12", "E24", "E96"]),
)
def test_every_proposal_meets_every_wish(system_v: int, room: float, source: float, dropout_s: float, series: str) -> None:
    wishes = Wishes(system_v, system_v * room, source_ohm=source, dropout_s=dropout_s, loading_a=5e-3, series=series)
    try:
        proposals = propose(wishes)
    except UsageError as error:
        told = str(error)
        proposals = []
    else:
        told = "conflict"
    assert "conflict" in told or "cannot be met" in told
    for proposal in proposals:
        assert all(rule(proposal.network, wishes) for rule in CLOSED_FORM.values())
        assert not {s.pulse.name for s in proposal.not_survived} & set(MUST_SURVIVE)
    tops = [p.network.r_top_ohm for p in proposals]
    assert len(set(tops)) == len(tops)


def test_ground_inputs_go_below_zero() -> None:
    for proposal in propose(Wishes(highest_v=4.0, lowest_v=-2.0, dropout_s=1e-3)):
        n = proposal.network
        assert n.lowest_v <= -2.0
        assert 0 < n.code(-2.0) < n.code(0.0) < n.code(4.0) <= 4095


@pytest.mark.parametrize(
    ("wishes", "said"),
    [
        ({"source_ohm": 0.1, "dropout_s": 1e-6}, "source impedance .* conflicts with loading"),
        ({"source_ohm": 1.2e3, "loading_a": 1e-4}, "conflict: source impedance and loading"),
        ({"dropout_s": 1e-8}, "shortest dropout"),
    ],
)
def test_impossible_wishes_say_which_conflict(wishes: dict[str, float], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        propose(Wishes(**wishes))  # type: ignore[arg-type]


def test_a_megohm_does_not_see_a_microsecond() -> None:
    _, unmet = check(Network(1e6, 220e3, 10e-9), Wishes(dropout_s=1e-6))
    assert {"source impedance", "shortest dropout"} <= set(unmet)


@pytest.mark.parametrize(
    "bad",
    [{"system_v": 6}, {"highest_v": -1.0}, {"reference_v": 0.0}, {"source_ohm": 0.0}, {"dropout_s": -1.0}, {"series": "E7"}],
)
def test_nonsense_wishes_are_refused(bad: dict[str, float]) -> None:
    with pytest.raises(UsageError, match="must be"):
        Wishes(**bad)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "bad", [{"r_top_ohm": 0.0}, {"r_bottom_ohm": -1.0}, {"c_filter_f": -1e-9}, {"r_top_ohm": float("nan")}]
)
def test_nonsense_networks_are_refused(bad: dict[str, float]) -> None:
    with pytest.raises(UsageError, match="must be"):
        Network(**{"r_top_ohm": 1e4, "r_bottom_ohm": 1e4, **bad})


@pytest.mark.parametrize(
    ("text", "value"), [("47k", 47e3), ("10n", 10e-9), ("2.2M", 2.2e6), ("3.3", 3.3), ("100uF", 1e-4), ("0", 0.0)]
)
def test_values_with_prefixes(text: str, value: float) -> None:
    assert number(text) == pytest.approx(value)


@pytest.mark.parametrize("text", ["", "k", "47kk", "-5k", "1e999", "ten", "5 apples"])
def test_nonsense_values_are_refused(text: str) -> None:
    with pytest.raises(UsageError):
        number(text)


def test_the_command_answers_in_under_a_second_and_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    began = time.process_time()
    with pytest.raises(SystemExit) as left:
        main(["divider", "--json"])
    assert left.value.code == 0
    assert time.process_time() - began < 1.0
    answer = json.loads(capsys.readouterr().out)
    assert len(answer["networks"]) > 1
    assert {"full_scale_v", "budget", "stress", "shortest_dropout_s"} <= set(answer["networks"][0])


def test_what_it_does_not_survive_is_said_plainly(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["divider", "--check", "1k,220,10n", "--no-clamp"])
    said = capsys.readouterr().out
    assert "DOES NOT SURVIVE" in said
    assert "chip's own protection" in said
