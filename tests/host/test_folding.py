"""A search finds what people type: part of a word, any case, marks left out, ä as ae, ß as ss, numbers without their dashes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcrank.jobs.folding import folded, joined, search_text, ways_of


def found(typed: str, kept: str, numbers: tuple[str, ...] = ()) -> bool:
    """As listing.py asks: each word, in one of its ways, is in the search text."""
    text = search_text((kept,), numbers)
    return all(any(way in text for way in ways_of(word)) for word in typed.split())


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("HÄCKSLER", "Häcksler am Hof"),
        ("haecksler", "Häcksler"),
        ("hacksler", "Häcksler"),
        ("Häcksler", "Haecksler"),
        ("Häcksler", "Hacksler"),
        ("strasse", "Lange Straße 4"),
        ("STRASSE", "Lange STRAẞE 4"),
        ("Straße", "strasse"),
        ("ha\u0308cksler", "H\u00e4cksler"),  # decomposed and composed (Unicode Standard, annex 15)
        ("ecrou", "Écrou de masse"),
        ("soren", "Søren"),
        ("soeren", "Søren"),
        ("aalborg", "Ålborg"),
        ("lodz", "Łódź"),
        ("ﬁlter", "filter"),  # a ligature
        ("１２０７", "1207"),  # full width
        ("技師", "主任技師"),
        ("stop", "left at the bus stop"),
        ("bus st", "bus stop"),
    ],
)
def test_words_are_found_as_people_type_them(typed: str, kept: str) -> None:
    assert found(typed, kept)


@pytest.mark.parametrize(
    ("typed", "kept"), [("haecksler", "Hacksler"), ("xyz", "Häcksler"), ("1208", "1207"), ("busstop", "bus stop")]
)
def test_other_words_are_not(typed: str, kept: str) -> None:
    assert not found(typed, kept)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("0711/5550-42", "0711 555 042"),
        ("kafc4711", "KA-FC 4711"),
        ("ka-fc", "KA FC 4711"),
        ("042788", "1M8GDM9AXKP042788"),
        ("gdm9axk", "1M8GDM9AXKP042788"),
        ("071155", "0711 / 55 50 42"),
    ],
)
def test_numbers_are_found_without_their_dashes_and_by_a_part(typed: str, kept: str) -> None:
    assert found(typed, "", (kept,))
    assert joined(kept)


@given(st.text(max_size=40), st.text(max_size=40))
def test_every_word_and_every_part_of_it_is_found_again(before: str, after: str) -> None:
    kept = f"{before} {after}"
    for word in kept.split():
        assert not folded(word) or found(word, kept)
        assert folded(word.upper().lower()) is not None
    assert "\x00" not in search_text((kept,))


@given(st.text(max_size=60))
def test_a_search_text_is_words_between_single_spaces(text: str) -> None:
    kept = search_text((text,), (text,))
    assert kept == " ".join(kept.split())
    kept.encode("utf-8")
