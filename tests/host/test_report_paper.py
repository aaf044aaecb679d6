"""The report on paper, read back by other programs: tagged, with title and language; its pages; letters that its font lacks."""

from __future__ import annotations

import io
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader
from pypdf.generic import BooleanObject, DictionaryObject, PdfObject

from firstcrank.errors import UsageError
from firstcrank.report import pdf
from firstcrank.report.document import Paragraph, Photo, Rows
from firstcrank.report.letters import IN_PLACE, Letters

from .test_customer_page import PHOTO
from .test_report import inputs


def part(node: PdfObject, *names: str) -> PdfObject:
    """What stands under these names, one within the other."""
    for name in names:
        whole = node.get_object()
        assert isinstance(whole, DictionaryObject)
        node = whole[name]
    return node


def kinds(node: object, found: list[DictionaryObject]) -> list[DictionaryObject]:
    """Every structure element below a node of the structure tree."""
    node = node.get_object() if hasattr(node, "get_object") else node
    if isinstance(node, list):
        for kid in node:
            kinds(kid, found)
    elif isinstance(node, DictionaryObject):
        if "/S" in node:
            found.append(node)
        kinds(node.get("/K", []), found)
    return found


@pytest.mark.parametrize(("paper", "size_pt"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_it_is_tagged_with_title_and_language(tmp_path: Path, paper: str, size_pt: tuple[int, int]) -> None:
    """ISO 32000-1 14.8 (tagged PDF), 14.9.2 (language), 14.9.3 (a picture's words); ISO 14289-1 7.1 (title shown)."""
    read = PdfReader(io.BytesIO(pdf.render(inputs(tmp_path), paper)))
    root = read.trailer["/Root"]
    assert part(root, "/MarkInfo", "/Marked") == BooleanObject(True)
    assert str(part(root, "/Lang")).startswith("en")
    assert part(root, "/ViewerPreferences", "/DisplayDocTitle") == BooleanObject(True)
    assert read.metadata is not None
    assert read.metadata.title == "First-start record 1207"
    assert read.metadata.author == "The Barn"
    elements = kinds(part(root, "/StructTreeRoot"), [])
    counts = {kind: sum(str(e["/S"]) == kind for e in elements) for kind in ("/H1", "/H2", "/Table", "/TH", "/Figure", "/L")}
    assert counts["/H1"] == 1
    assert counts["/H2"] >= 8
    assert counts["/Table"] == 2
    assert counts["/TH"] == 8
    assert counts["/Figure"] == 2
    pictures = [str(e.get("/Alt", "")) for e in elements if str(e["/S"]) == "/Figure"]
    assert all("Key feed: " in phrase and "V." in phrase for phrase in pictures), pictures
    box = read.pages[0].mediabox
    assert (round(box.width), round(box.height)) == size_pt


def test_the_customers_part_has_two_pages_at_most_and_the_annex_begins_a_new_one(tmp_path: Path) -> None:
    one = inputs(tmp_path)
    before = ("start 1, 2026-01-02", one.recording.trace, one.judgement)
    after = replace(inputs(tmp_path, "marigold_repaired"), earlier=before, start_name="2")
    for made in (one, after):
        pages = [page.extract_text() for page in PdfReader(io.BytesIO(pdf.render(made))).pages]
        annex = next(n for n, text in enumerate(pages) if "Annex: how it was measured" in text)
        assert 1 <= annex <= 2
        body = "\n".join(pages[:annex])
        assert "common practice" not in body
        assert "our choice" not in body
        assert pages[annex].lstrip().startswith("Annex")


def test_letters_that_the_font_lacks_are_told(tmp_path: Path) -> None:
    made = replace(inputs(tmp_path), job={"number": "1207", "vehicle": "漢字 pickup", "customer": "Łukasz Ženić, Ελένη, Юрий"})
    text = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf.render(made))).pages)
    assert f"{IN_PLACE}{IN_PLACE} pickup" in text
    assert "stands for letters that the font of this paper lacks: U+5B57 cjk unified ideograph-5b57, U+6F22" in text.replace(
        "\n", " "
    )
    assert "Łukasz Ženić, Ελένη, Юрий" in text


def test_a_paper_without_such_letters_says_nothing_of_them(tmp_path: Path) -> None:
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf.render(inputs(tmp_path)))).pages)
    assert "lacks" not in text
    assert IN_PLACE not in text


def test_a_font_of_the_shop_is_used_where_ours_lacks_a_letter(tmp_path: Path) -> None:
    import matplotlib

    symbols = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "STIXGeneral.ttf"
    lacking = Letters()
    wanted = "\N{MATHEMATICAL SCRIPT CAPITAL P}\N{LATIN SMALL LETTER A}\N{PRECEDES ABOVE SINGLE-LINE NOT EQUAL TO}"
    without = lacking.shown(wanted)
    with_it = Letters(symbols)
    assert without.count(IN_PLACE) > with_it.shown(wanted).count(IN_PLACE)
    assert with_it.families[1].startswith("STIX")
    wrong = tmp_path / "font.ttf"
    wrong.write_bytes(b"no font")
    with pytest.raises(UsageError, match="cannot be used as a font"):
        Letters(wrong)


def test_what_looks_like_markup_is_text() -> None:
    text = "#panic() *bold* $x$ <label> @ref \\ `raw` // comment"
    read = PdfReader(io.BytesIO(pdf.paper([Paragraph(text)], "a # title", author="#set text()")))
    assert text in read.pages[0].extract_text()
    assert read.metadata is not None
    assert read.metadata.title == "a # title"


def test_a_cell_longer_than_a_page_goes_on_on_the_next() -> None:
    long = " ".join(f"word{n}" for n in range(4000))
    read = PdfReader(io.BytesIO(pdf.paper([Rows((("ok", long),), (0.1, 0.9), ("Result", "What"))], "long")))
    assert len(read.pages) >= 2
    assert "word3999" in "".join(page.extract_text() for page in read.pages)


@pytest.mark.slow
def test_pages_have_ink(tmp_path: Path) -> None:
    if shutil.which("pdftoppm") is None:
        pytest.skip("no pdftoppm here (Debian package poppler-utils)")
    path = tmp_path / "report.pdf"
    path.write_bytes(pdf.render(inputs(tmp_path)))
    subprocess.run(["pdftoppm", "-r", "40", "-png", str(path), str(tmp_path / "page")], check=True, stderr=subprocess.DEVNULL)
    pictures = sorted(tmp_path.glob("page*.png"))
    assert len(pictures) >= 2
    assert all(ink(picture) > 0.008 for picture in pictures)


def ink(picture: Path) -> float:
    """Share of dark pixels in a PNG."""
    from matplotlib.image import imread

    pixels = imread(picture)[..., :3].mean(axis=2)
    return float((pixels < 0.6).mean())


def test_a_damaged_photo_keeps_no_paper_from_being_made() -> None:
    damaged = PHOTO[:45] + b"\x00\x01\x02" + PHOTO[48:]
    read = PdfReader(io.BytesIO(pdf.paper([Photo(damaged, "the plug"), Photo(PHOTO, "the terminal")], "photos")))
    text = read.pages[0].extract_text()
    assert "the plug (this picture is damaged, or neither PNG nor JPEG)" in text
    assert "the terminal" in text
