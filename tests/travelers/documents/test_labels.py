"""Labels: every code decodes, nothing leaves its label, partly used sheets start where they are told."""

from dataclasses import replace

import pytest

from tests.fittings.drawing.samples import elbow
from tests.travelers.documents.reading import PT, codes, corners, dark_beyond, darkest_round, pages, words
from tests.travelers.documents.samples import ELBOW, ODD_TEXTS, ROLL, SHEETS_10, SHEETS_30, label
from travelers.documents.data import LabelFormat
from travelers.documents.labels import LabelTooSmall, labels_pdf

FORMATS = pytest.mark.parametrize("fmt", [SHEETS_10, SHEETS_30, ROLL], ids=lambda fmt: fmt.name)


def place(fmt: LabelFormat, index: int) -> tuple[float, float, float, float]:
    """Left, top, right, bottom of a label [pt from the page's top left corner]."""
    row, column = divmod(index, fmt.columns)
    left = (fmt.left_in + column * fmt.pitch_x_in) * 72
    top = (fmt.top_in + row * fmt.pitch_y_in) * 72
    return (left, top, left + fmt.width_in * 72, top + fmt.height_in * 72)


@FORMATS
def test_every_label_of_full_sheets_decodes_in_its_place(fmt):
    items = [label(code=f"K3{number:04d}A2X", position=number % 5 + 1) for number in range(fmt.per_page + 2)]
    found = pages(labels_pdf(items, fmt))
    assert len(found) == (2 if fmt.per_page > 1 else 3)
    seen = []
    for image in found:
        for code in codes(image):
            seen.append(code.text)
            index = int(code.text[2:6]) % fmt.per_page
            left, top, right, bottom = place(fmt, index)
            at = corners(code)
            assert left * PT <= at[0] and top * PT <= at[1] and at[2] <= right * PT and at[3] <= bottom * PT
    assert sorted(seen) == [item.code for item in items]


@FORMATS
def test_modules_are_large_enough_for_oily_labels(fmt):
    image = pages(labels_pdf([label()], fmt))[0]
    left, _, right, _ = corners(codes(image)[0])
    assert (right - left) / PT >= 0.76 * 20 * 72 / 25.4  # corners may lie on module centres


@FORMATS
@pytest.mark.parametrize("kind", ODD_TEXTS)
def test_odd_text_stays_on_its_label_and_off_the_code(fmt, kind):
    odd = ODD_TEXTS[kind]
    item = label(order_number=odd, tag=odd, material=odd, customer=odd, plate=1, plates=2, generation=2)
    image = pages(labels_pdf([item], fmt))[0]
    (code,) = codes(image)
    assert code.text == item.code
    assert darkest_round(image, code, modules=3.8) == 255
    assert not dark_beyond(image, *place(fmt, 0))


@FORMATS
def test_a_label_says_which_gore_of_which_order(fmt):
    text = words(labels_pdf([label(plate=1, plates=2, generation=3)], fmt))[0]
    for part in (
        "gore 2 of 5",
        "plate 1 of 2",
        "1042",
        "AHU-3",
        "24 ga",
        "K300 0A2B X",
        "remade 3",
        "4 of 12",
    ):
        assert part in text


def test_a_label_of_the_whole_fitting():
    text = words(labels_pdf([label(position=None)], SHEETS_10))[0]
    assert "fitting 4 of 12" in text and "gore" not in text


def test_a_partly_used_sheet_starts_at_the_label_that_is_left():
    items = [label(code=f"K3{number:04d}A2X") for number in range(4)]
    first, second = pages(labels_pdf(items, SHEETS_10, start_at=9))
    assert sorted(code.text for code in codes(first)) == ["K30000A2X", "K30001A2X"]
    assert sorted(code.text for code in codes(second)) == ["K30002A2X", "K30003A2X"]
    at = {code.text: corners(code) for code in codes(first)}
    left, top, right, bottom = place(SHEETS_10, 8)
    assert left * PT < at["K30000A2X"][0] < right * PT and top * PT < at["K30000A2X"][1] < bottom * PT
    for wrong in (0, 11):
        with pytest.raises(ValueError, match="1 to 10"):
            labels_pdf(items, SHEETS_10, start_at=wrong)


def test_the_gore_is_filled_in_the_drawing():
    grey = []
    for position in (1, 5):
        image = pages(labels_pdf([label(position=position)], SHEETS_10))[0]
        left, top, *_ = place(SHEETS_10, 0)
        box = image[int((top + 4) * PT) : int((top + 90) * PT), int((left + 4) * PT) : int((left + 80) * PT)]
        filled = (box > 170) & (box < 200)
        ys, xs = filled.nonzero()
        assert filled.sum() > 300
        grey.append((xs.mean(), ys.mean()))
    # Gore 1 is at end A, low and at the right; gore 5 at end B, high and at the left.
    assert grey[0][0] > grey[1][0] and grey[0][1] > grey[1][1]


def test_a_format_that_cannot_hold_a_code_is_refused_in_words():
    small = LabelFormat("tiny", 8.5, 11, 4, 20, 1.75, 0.5, 0.3, 0.5, 2, 0.5)
    with pytest.raises(LabelTooSmall) as refused:
        labels_pdf([label()], small)
    assert "tiny" in refused.value.sentence and "0.87 in" in refused.value.sentence


def test_no_label_is_refused():
    with pytest.raises(ValueError, match="no label"):
        labels_pdf([], SHEETS_10)


def test_labels_of_a_large_lot_share_their_drawings():
    one = labels_pdf([label(ELBOW)], SHEETS_30)
    many = labels_pdf([label(ELBOW, code=f"K3{number:04d}A2X") for number in range(90)], SHEETS_30)
    assert len(many) - len(one) < 90 * 1500


def test_trial_outlines_are_drawn_on_the_edge():
    image = pages(labels_pdf([label(elbow(10, 180, 12))], SHEETS_10, outlines=True))[0]
    left, top, *_ = place(SHEETS_10, 0)
    row = image[int((top + 70) * PT), int((left - 1) * PT) : int((left + 2) * PT)]
    assert row.min() < 200
    assert replace(SHEETS_10, rows=1).per_page == 2
