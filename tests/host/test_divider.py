"""The input designer as its user meets it: proposals meet every requirement, conflicts are named, nonsense is refused, and fast."""

from __future__ import annotations

import json
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcrank.cli.main import main
from firstcrank.divider.network import Network
from firstcrank.divider.propose import CLOSED_FORM, Requirements, UnmetRequirementError, check, propose
from firstcrank.divider.stress import Ratings
from firstcrank.divider.values import in_series, number, written, written_series
from firstcrank.errors import UsageError


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from([12, 24]),
    st.floats(1.2, 1.6),
    st.floats(2e3, 2e4),
    st.floats(3e-5, 1e-3),
    st.sampled_from(["E12", "E24", "E96"]),
)
def test_every_proposal_meets_every_requirement(
    system_v: int, room: float, source: float, dropout_s: float, series: str
) -> None:
    requirements = Requirements(
        system_v, system_v * room, source_ohm=source, dropout_s=dropout_s, loading_a=5e-3, series=series
    )
    try:
        proposals = propose(requirements)
    except UnmetRequirementError as error:
        message = str(error)
        proposals = []
    else:
        message = "conflict"
    assert "conflict" in message or "cannot be met" in message
    for proposal in proposals:
        assert all(rule(proposal.network, requirements) for rule in CLOSED_FORM.values())
        assert proposal.not_survived == ()
        assert proposal.network.clamp is not None
        assert proposal.network.r_series_ohm > 0
    tops = [p.network.r_top_ohm for p in proposals]
    assert len(set(tops)) == len(tops)


def test_ground_inputs_go_below_zero() -> None:
    for proposal in propose(Requirements(highest_v=4.0, lowest_v=-2.0, dropout_s=1e-3)):
        n = proposal.network
        assert n.lowest_v <= -2.0
        assert 0 < n.code(-2.0) < n.code(0.0) < n.code(4.0) <= 4095


@pytest.mark.parametrize(
    ("requirements", "expected"),
    [
        ({"source_ohm": 0.1, "dropout_s": 1e-6}, "source impedance .* conflicts with loading"),
        ({"source_ohm": 1.2e3, "loading_a": 1e-4}, "conflict: source impedance and loading"),
        ({"dropout_s": 1e-8}, "shortest dropout"),
    ],
)
def test_impossible_requirements_say_which_conflict(requirements: dict[str, float], expected: str) -> None:
    with pytest.raises(UnmetRequirementError, match=expected):
        propose(Requirements(**requirements))  # type: ignore[arg-type]


def test_a_megohm_does_not_see_a_microsecond() -> None:
    _, unmet = check(Network(1e6, 220e3, 10e-9), Requirements(dropout_s=1e-6))
    assert {"source impedance", "shortest dropout"} <= set(unmet)


@pytest.mark.parametrize(
    "bad",
    [{"system_v": 6}, {"highest_v": -1.0}, {"reference_v": 0.0}, {"source_ohm": 0.0}, {"dropout_s": -1.0}, {"series": "E7"}],
)
def test_nonsense_requirements_are_refused(bad: dict[str, float]) -> None:
    with pytest.raises(UsageError, match="must be"):
        Requirements(**bad)  # type: ignore[arg-type]


@pytest.mark.parametrize("values", [(0.0, 1e4, 1e-8), (1e4, -1.0, 1e-8), (1e4, 1e4, -1e-9), (float("nan"), 1e4, 1e-8)])
def test_nonsense_networks_are_refused(values: tuple[float, float, float]) -> None:
    assert Network(1e4, 1e4, 1e-8).r_top_ohm == 1e4
    with pytest.raises(UsageError, match="must be"):
        Network(*values)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("47k", 47e3),
        ("4k7", 4.7e3),
        ("6K8", 6.8e3),
        ("4R7", 4.7),
        ("10n", 10e-9),
        ("4n7F", 4.7e-9),
        ("1e-8", 1e-8),
        ("2.2M", 2.2e6),
        ("0,5", 0.5),
        ("3.3", 3.3),
        ("100uF", 1e-4),
        ("0", 0.0),
    ],
)
def test_values_with_prefixes(text: str, value: float) -> None:
    assert number(text) == pytest.approx(value)


@pytest.mark.parametrize("text", ["", "k", "47kk", "4k7k", "-5k", "1e999", "ten", "5 apples"])
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


def test_resistors_in_series() -> None:
    assert in_series("4x7.5k+3k") == (7.5e3, 7.5e3, 7.5e3, 7.5e3, 3e3)
    assert in_series("33k") == (33e3,)
    assert written_series((7.5e3, 7.5e3, 3e3)) == "2 x 7.5 kΩ + 3 kΩ"
    assert [written(v, "F") for v in (1e-8, 4.7e-9, 0.0)] == ["10 nF", "4.7 nF", "0 F"]
    with pytest.raises(UsageError):
        in_series("0x7.5k")


# Three equal parts of 350 V stand 1,036 V at 1 %, four 1,379 V: 350 / (1.01 / (1.01 + (n - 1) 0.99)), by hand.
@pytest.mark.parametrize(("parts", "stands_v"), [((11e3,) * 3, 1036.0), ((8.2e3,) * 4, 1379.0), ((33e3,), 350.0)])
def test_the_worst_share_of_parts_in_series(parts: tuple[float, ...], stands_v: float) -> None:
    assert 350.0 / Network(sum(parts), 6.8e3, top_parts_ohm=parts).worst_share(0.01) == pytest.approx(stands_v, abs=0.5)


@pytest.mark.parametrize("system", ["12", "24"])
@pytest.mark.parametrize("ratings", [(0.25, 250.0), (0.6, 350.0), (0.4, 200.0)])
@pytest.mark.parametrize("tolerance", ["0.001", "0.01", "0.05"])
def test_the_designer_never_proposes_what_its_own_table_fails(
    capsys: pytest.CaptureFixture[str], system: str, ratings: tuple[float, float], tolerance: str
) -> None:
    options = ["--power", str(ratings[0]), "--working", str(ratings[1]), "--tolerance", tolerance]
    with pytest.raises(SystemExit) as left:
        main(["divider", "--json", "--system", system, *options])
    answer = json.loads(capsys.readouterr().out)
    assert left.value.code == 0
    assert answer["networks"]
    for network in answer["networks"]:
        assert all(line["survives"] for line in network["stress"])
        assert len(network["stress"]) == 13
        assert network["clamp"] == "BAV199"


def test_parts_of_too_low_a_rating_are_refused_with_what_to_take() -> None:
    with pytest.raises(UnmetRequirementError, match="higher working voltage"):
        propose(Requirements(ratings=Ratings(working_v=100.0)))


@pytest.mark.parametrize(
    ("given", "code", "expected"),
    [
        ("4x7.5k+3k,6k8,10n,4k7", 0, "survives all 13 pulses"),
        ("33k,6.8k,10n,1k", 5, "Does not meet: survival"),
        ("1M,10", 5, "highest voltage"),
        ("4x22k+12k,10k,10n,4k7", 5, "Does not meet: highest voltage"),
    ],
)
def test_an_unmet_requirement_has_its_own_exit_code(
    capsys: pytest.CaptureFixture[str], given: str, code: int, expected: str
) -> None:
    with pytest.raises(SystemExit) as left:
        main(["divider", "--check", given])
    assert left.value.code == code
    assert expected in capsys.readouterr().out


def test_the_page_states_clamp_tolerance_temperature_and_wide_codes(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["divider", "--check", "47k,10k,10n,1k", "--temperature", "60", "--tolerance", "0.02"])
    output = capsys.readouterr().out
    assert "clamp BAV199" in output
    assert "1 kΩ to the pin" in output
    assert "resistors ± 2 %, 60 °C" in output
    assert "7.05" in output  # code 1536 of 47k over 10k: 1536 / 4096 * 3.3 * 5.7 = 7.054 V, by hand


def test_an_input_that_does_not_reach_the_system_voltage_is_shown_at_its_own(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["divider", "--lowest", "-2", "--highest", "4"])
    output = capsys.readouterr().out
    assert "at 4 V uncalibrated" in output
    assert "(4 V to nothing, across 2.8 V)" in output
    assert "at 12 V" not in output


def test_a_capacitor_of_ten_farads_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["divider", "--check", "47k,10k,10"])
    assert left.value.code == 2
    assert "write 10n" in capsys.readouterr().err


def test_what_it_does_not_survive_is_said_plainly(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["divider", "--check", "1k,220,10n", "--no-clamp"])
    assert left.value.code == 5
    output = capsys.readouterr().out
    assert "DOES NOT SURVIVE" in output
    assert "chip's own protection" in output


# Rth / (Rth + Rin) of 33 k over 6.8 k with 4.7 k to the pin: 10.338 k of 110.338 k is 9.37 %, by hand; an MCP3208 draws nothing.
@pytest.mark.parametrize(
    ("name", "expected", "absent"),
    [
        ("RP2040", ["pull the reading down by up to 9.4%", "RP2040: wide codes (erratum E11)"], "does not load"),
        ("rp2350", ["pull the reading down by up to 9.4%"], "wide codes"),
        ("MCP3208", ["does not load the divider", "one sample moves the node by 0.20%"], "wide codes"),
    ],
)
def test_the_converter_behind_the_input_counts(
    capsys: pytest.CaptureFixture[str], name: str, expected: list[str], absent: str
) -> None:
    with pytest.raises(SystemExit) as left:
        main(["divider", "--check", "4x7.5k+3k,6k8,10n,4k7", "--converter", name])
    assert left.value.code == 0
    output = capsys.readouterr().out
    assert all(text in output for text in expected), output
    assert absent not in output


def test_a_lifted_input_states_what_it_reads_with_nothing_on_it(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand. 3.3 V (62 k / 84 k) = 2.436 V at the pin, and at the clip, 1.924 times that less 2.25 V, as well (R2 sees the same node).

    RP2040: 100 k behind 16.24 k + 4.7 k leaves 2.014 V, which the nominal line, half of 12.5 k / 112.5 k taken out, reads as 1.853 V.
    """
    given = ["divider", "--check", "4x3k+3k,62k,10n,4k7,22k", "--lowest", "-2", "--highest", "3.8", "--dropout", "1m", "--json"]
    open_v = []
    for name in ("MCP3208", "RP2040"):
        with pytest.raises(SystemExit):
            main([*given, "--converter", name])
        open_v.append(json.loads(capsys.readouterr().out)["networks"][0]["open_reads_v"])
    assert open_v == pytest.approx([2.436, 1.853], abs=0.001)
