"""docs/method.md prints the obligations as the judge has them. `python -m tests.host.test_method_page` writes the table anew."""

from __future__ import annotations

from pathlib import Path

from firstcrank.analysis.obligations.table import OBLIGATIONS

PAGE = Path(__file__).parents[2] / "docs" / "method.md"
BEGIN, END = "from the table in host/firstcrank/analysis/obligations/table.py -->\n", "<!-- end -->"


def table() -> str:
    """The list as a Markdown table."""
    lines = ["| id | for | obligation |", "|---|---|---|"]
    for o in OBLIGATIONS:
        each = "recording" if o.for_recording else "every crank" if o.for_crank else "every phase"
        lines.append(f"| {o.id}{' !' if o.voids else ''} | {each} | {o.text} |")
    return "\n".join(lines) + "\n"


def with_table(text: str) -> str:
    """The page with today's table."""
    before, rest = text.split(BEGIN, 1)
    return before + BEGIN + table() + END + rest.split(END, 1)[1]


def test_the_page_prints_the_obligations_of_the_judge() -> None:
    text = PAGE.read_text("utf-8")
    assert with_table(text) == text, "write it anew: python -m tests.host.test_method_page"
    assert len({o.id for o in OBLIGATIONS}) == len(OBLIGATIONS)


if __name__ == "__main__":
    PAGE.write_text(with_table(PAGE.read_text("utf-8")), "utf-8")
