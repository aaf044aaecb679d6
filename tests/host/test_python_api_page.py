"""The page of the Python API: every name with its signature, sections of docstrings as lists of terms."""

from __future__ import annotations

from tests.host.api_docstrings import PAGE


def test_the_page_shows_sections_as_lists_of_terms_and_no_sign_is_lost() -> None:
    text = """The `mean_v` of a * b, "start", x[i] <= y_z.

    Args:
        top_ohm: Ohms, `[i]`,
            above 0.

    Returns:
        None: not asked.

    Raises:
        ValueError: Not so.
    """
    assert PAGE.documented(text) == [
        r'The `mean_v` of a \* b, `"start"`, x\[i\] \<= y\_z.',
        "",
        "**Args**",
        "",
        "`top_ohm`",
        ": Ohms, `[i]`, above 0.",
        "",
        "**Returns**",
        "",
        "None: not asked.",
        "",
        "**Raises**",
        "",
        "`ValueError`",
        ": Not so.",
        "",
    ]


def test_the_page_has_every_name_and_every_method_with_its_signature() -> None:
    page = PAGE.api()
    assert all(
        f"\n## {name}\n" in page and f"from {module} import {name}\n" in page for module, names in PAGE.API for name in names
    )
    assert "\n### BoardClient.frames\n" in page
    assert "\nvolts(codes: ArrayLike) -> FloatArray\n" in page
    assert "    kind: str = 'start',\n" in page
    assert "**Properties**\n\n`mid_s`\n: Middle of each bin" in page
