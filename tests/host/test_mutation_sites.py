"""The mutation harness itself: every mutant is another program, made the same way every time, and text stays as it is."""

from __future__ import annotations

import ast

import pytest

from tests.mutation import sites

ALL = sites.all_sites()


def test_a_sample_is_the_same_for_the_same_seed() -> None:
    assert sites.sample(50, 1) == sites.sample(50, 1)
    assert sites.sample(50, 1) != sites.sample(50, 2)
    assert len({site.key for site in ALL}) == len(ALL)


@pytest.mark.parametrize("site", sites.sample(60, 7), ids=lambda s: f"{s.file}:{s.line}:{s.variant}")
def test_every_mutant_compiles_and_differs_in_one_place(site: sites.Site) -> None:
    before = ast.parse((sites.PACKAGE / site.file).read_text("utf-8"))
    after = sites.mutated(site)
    compile(after, site.file, "exec")
    assert ast.dump(before) != ast.dump(after)
    texts = [
        {n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and isinstance(n.value, str)}
        for tree in (before, after)
    ]
    assert texts[1] <= texts[0]


def test_the_operators_that_matter_are_there() -> None:
    site_names = " ".join(site.what for site in ALL)
    for part in (" >= ", " <= ", " and ", " or ", "Result.FAIL", "None", "pass", "False", "max("):
        assert part in site_names
