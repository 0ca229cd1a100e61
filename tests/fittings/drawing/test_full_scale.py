"""The 1:1 PDF, rendered: its scale bar and its patterns measure what they should, its layers are there."""

from io import BytesIO

import numpy as np
import pikepdf
import pypdfium2
import pytest

from fittings.drawing import patterns, patterns_pdf
from tests.fittings.drawing.kinds import CASES, IDS, made
from tests.fittings.drawing.samples import elbow
from tests.travelers.documents.reading_tags import check, tree_of

DPI = 50
MARGIN, FOOT = 0.75, 1.25  # in: of the page, and of the band for the scale bar


def pages(data: bytes, dpi: float = DPI):
    return [
        np.array(page.render(scale=dpi / 72, optimize_mode=None).to_pil().convert("L"))
        for page in pypdfium2.PdfDocument(data)
    ]


def ticks(page: np.ndarray, dpi: float) -> list[int]:
    """Columns of the two tallest strokes in the foot of the page: the end ticks of the bar."""
    foot = page[-int((MARGIN + 0.8) * dpi) : -int((MARGIN + 0.48) * dpi)] < 140
    tall = np.flatnonzero(foot.mean(axis=0) > 0.45)
    return [int(tall.min()), int(tall.max())]


@pytest.mark.parametrize(("unit", "long"), [("in", 10.0), ("mm", 250 / 25.4)])
@pytest.mark.parametrize("dpi", [72, 100, 144])
def test_the_scale_bar_is_as_long_as_it_says(unit, long, dpi):
    data = patterns_pdf(made(("gored_elbow", "five")), unit)
    for page in pages(data, dpi):
        left, right = ticks(page, dpi)
        assert abs((right - left) - long * dpi) <= 1


@pytest.mark.parametrize("case", CASES, ids=IDS)
def test_each_page_has_its_pattern_at_full_scale(case):
    want = [
        piece for group in patterns(made(case)) for piece in group.segment.get("plates") or [group.segment]
    ]
    data = patterns_pdf(made(case))
    document = pypdfium2.PdfDocument(data)
    assert len(document) == len(want)
    for page, piece in zip(pages(data), want, strict=True):
        blank = piece["blank"]
        bottom = page.shape[0] - round((MARGIN + FOOT) * DPI)
        top = bottom - round(blank["height"] * DPI)
        body = page[top - 3 : bottom + 4] < 160
        rows, columns = np.flatnonzero(body.any(axis=1)), np.flatnonzero(body.any(axis=0))
        assert abs((rows.max() - rows.min()) - blank["height"] * DPI) <= 2
        assert abs((columns.max() - columns.min()) - blank["width"] * DPI) <= 2
        assert columns.min() == pytest.approx(MARGIN * DPI, abs=1.5)


def test_the_words_say_what_how_many_and_how_to_print():
    document = pypdfium2.PdfDocument(patterns_pdf(made(("gored_elbow", "five")), title="Order 1042, line 3"))
    text = document[1].get_textpage().get_text_bounded()
    key = patterns(made(("gored_elbow", "five")))[1].pattern
    for words in (
        "Order 1042, line 3",
        "Middle gore 2–4 of 5, 3 equal",
        key,
        "cut 3 times",
        "galvanized, 24 ga",
    ):
        assert words in text
    assert "Print at 100 %" in text and "10 in" in text and "sheet 2 of 3" in text
    assert document.get_metadata_value("Title") == "Order 1042, line 3"


def objects(data: bytes) -> str:
    return data.decode("latin-1")


def test_the_layers_are_optional_content():
    with pikepdf.open(BytesIO(patterns_pdf(made(("gored_elbow", "five"))))) as pdf:
        layers = pdf.Root.OCProperties
        groups = {str(group.Name): group.objgen for group in layers.OCGs}
        assert set(groups) == {"CUT", "MARK", "TEXT"}
        assert {group.objgen for group in layers.D.ON} == set(groups.values())
        assert len(pdf.pages) == 3
        for page in pdf.pages:
            properties = page.Resources.Properties
            assert {name: properties[f"/{name}"].objgen for name in groups} == groups
            begun = [
                str(operands[1])
                for operands, operator in pikepdf.parse_content_stream(page)
                if str(operator) == "BDC" and str(operands[0]) == "/OC"
            ]
            assert begun == ["/CUT", "/MARK", "/TEXT"]


def test_it_is_tagged_and_its_pattern_is_told_in_words():
    data = patterns_pdf(made(("gored_elbow", "five")), title="Elbow for AHU-3")
    check(data)
    tree = tree_of(data)
    assert [node.text for node in tree.all("H1")] == ["Elbow for AHU-3"] * 3
    assert all("Flat pattern at full scale" in node.alt for node in tree.all("Figure"))


def test_a_layer_that_is_off_is_not_drawn():
    data, off = patterns_pdf(made(("gored_elbow", "five"))), BytesIO()
    with pikepdf.open(BytesIO(data)) as pdf:
        shown = pdf.Root.OCProperties.D
        shown.OFF = shown.ON
        del shown.ON
        pdf.save(off)
    before, after = pages(data)[0], pages(off.getvalue())[0]
    band = slice(
        before.shape[0] - round((MARGIN + FOOT + 3) * DPI), before.shape[0] - round((MARGIN + FOOT) * DPI) - 3
    )
    assert (before[band] < 128).sum() > 100 and not (after[band] < 128).any()
    assert ticks(after, DPI) == ticks(before, DPI)


def test_a_page_beyond_200_in_has_a_user_unit():
    development = elbow(120, 90, 7)  # stretch-out 377 in
    data = patterns_pdf(development)
    assert b"/UserUnit 2" in data
    document = pypdfium2.PdfDocument(data)
    boxes = [page.get_mediabox() for page in document]
    wide = development["segments"][0]["blank"]["width"]
    assert [(box[2] - box[0]) * 2 / 72 for box in boxes] == pytest.approx([wide + 2 * MARGIN] * 2, abs=0.01)
    assert all(box[2] <= 14400 and box[3] <= 14400 for box in boxes)


def test_equal_patterns_give_equal_files():
    assert patterns_pdf(elbow(), "mm") == patterns_pdf(elbow(), "mm")


def test_another_unit_is_refused():
    with pytest.raises(ValueError, match="neither in nor mm"):
        patterns_pdf(elbow(), "cm")
