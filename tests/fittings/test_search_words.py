"""Words of lines and of searches, worked out by hand: a sixteenth is 0.0625 in, 368 mm / 25.4 = 14.488 in."""

from __future__ import annotations

import pytest

from fittings.geometry import KINDS
from fittings.search_words import KIND_WORDS, line_words, words_asked

ELBOW = {
    "kind": "gored_elbow",
    "material": "galvanized",
    "gauge": 24,
    "params": {"diameter": 14.5, "angle": 90, "pieces": 5, "radius_ratio": 1.5, "collar_a": 2},
    "tag": "AHU-3",
    "system": "",
}


def exact(text: str, unit: str = "in") -> list[set[str]]:
    return [set(one.exact) for one in words_asked(text, unit=unit)]


def test_every_kind_has_words_of_the_trade():
    assert set(KIND_WORDS) == set(KINDS)


def test_a_line_is_found_by_what_it_is_and_says():
    words = line_words(ELBOW, number="1042", purchase_order="PO-77/a")
    kind = {"gored", "elbow", "ell", "bend"}
    sizes = {"@l14.5", "@a90", "@g24", "@n5"}
    texts = {"galvanized", "ahu3", "ahu", "1042", "po77a", "po", "77", "a"}
    assert words == kind | sizes | texts


def test_what_is_no_main_size_is_no_word():
    assert "@l2" not in line_words(ELBOW, number="1", purchase_order="")


def test_a_leaning_tee_is_a_lateral_and_one_without_an_angle_is_square():
    tee = {**ELBOW, "kind": "tee", "params": {"diameter": 14, "branch_diameter": 10}}
    square = line_words(tee, number="1", purchase_order="")
    assert "@a90" in square and "lateral" not in square
    tee["params"]["angle"] = 45
    assert {"@a45", "lateral"} <= line_words(tee, number="1", purchase_order="")


@pytest.mark.parametrize(
    "text",
    ["14 1/2", "14-1/2", "14½", "14.5", '14.5"', "14 1/2 in", "14.5 inches", "368.3mm", "368 mm", "36.83 cm"],
)
def test_one_size_written_in_many_ways(text):
    assert any("@l14.5" in words for words in exact(text)) and len(exact(text)) == 1


def test_a_bare_number_is_a_length_an_angle_or_a_gauge():
    assert exact("14") == [{"@l14", "@a14", "@g14", "14"}]
    assert exact("90") == [{"@l90", "@a90", "90"}]  # there is no 90 gauge


def test_a_unit_says_what_a_number_measures():
    assert exact("90° 24 ga 24ga 5 pieces 2 ft") == [{"@a90"}, {"@g24"}, {"@g24"}, {"@n5"}, {"@l24"}]


def test_in_a_shop_of_millimetres_a_bare_length_is_in_these():
    """350 / 25.4 = 13.78 in: to the nearest sixteenth 13.75."""
    assert "@l13.75" in exact("350", "mm")[0]


def test_words_in_any_order():
    assert sorted(map(sorted, exact("14 90 elbow 24"))) == sorted(map(sorted, exact("elbow 24 90 14")))


def test_sizes_by_a_cross_are_two():
    assert exact("20x16") == exact("20 × 16") == exact("20 16")


def test_texts_lose_capitals_accents_and_marks():
    assert exact("ÁHU-3") == [{"ahu3"}]
    assert exact("Elbows") == [{"elbows", "elbow"}]
    assert [one.prefix for one in words_asked("el e")] == ["el", ""]


@pytest.mark.parametrize("text", ["", "   ", "order", "/", "1/0", "x" * 300, "½", "'\"\\%_", "a b c " * 40])
def test_nothing_typed_breaks_it(text):
    assert len(words_asked(text)) <= 12
    assert all(len(word) <= 60 for one in words_asked(text) for word in one.exact)
