"""The imports of both packages make no circle, and the finder of circles finds one."""

from __future__ import annotations

from tests.house import circles, imports


def test_no_circle_of_imports() -> None:
    graph = imports()
    assert len(graph) > 200
    assert circles(graph) == []


def test_a_circle_is_found() -> None:
    assert [sorted(ring) for ring in circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}})] == [["a", "b", "c"]]
    assert circles({"a": {"a"}}) == [["a"]]
    assert circles({"a": {"b"}, "b": {"c"}, "c": set()}) == []
