"""The gore table and the shop's usual ranges."""

import pytest

from fittings.geometry import Allowances, CannotBeMade, GoreRow, Practice, UsualRange, pieces_for


@pytest.fixture
def ufgs(printed_pieces):
    return [
        GoreRow(
            row["angle"], row["diameter_over"], row["diameter_to"], "standard", row["pieces"], row["source"]
        )
        for row in printed_pieces
    ]


@pytest.mark.authority
def test_pieces_of_the_printed_table(printed_pieces, ufgs):
    # UFGS 15801N, para 2.9.3: pieces by angle, to 16 in and over 16 in
    assert len(printed_pieces) == 10
    for row in printed_pieces:
        for diameter in (4, 15.9, 16) if row["diameter_to"] else (16.1, 20, 100):
            assert pieces_for(row["angle"], diameter, "standard", ufgs) == row["pieces"]


@pytest.mark.parametrize(
    ("angle", "diameter", "pieces"),
    [
        (1, 14, 2),  # rounded up to the 15° row
        (50, 14, 4),  # to the 60° row
        (61, 20, 7),  # to the 90° row
        (91, 14, 6),  # beyond the table at 22.5° a gore: 1 + ⌈4.04⌉
        (180, 14, 9),  # 1 + 8
        (180, 20, 13),  # at 15° a gore
    ],
)
def test_angles_between_and_beyond_the_rows(ufgs, angle, diameter, pieces):
    assert pieces_for(angle, diameter, "standard", ufgs) == pieces


def test_missing_rows_name_the_field(ufgs):
    with pytest.raises(CannotBeMade) as refused:
        pieces_for(90, 14, "smooth", ufgs)
    assert (refused.value.problems[0].field, refused.value.problems[0].limit) == ("gore_class", "standard")
    with pytest.raises(CannotBeMade) as refused:
        pieces_for(90, 20, "standard", [row for row in ufgs if row.diameter_to_in])
    assert refused.value.problems[0].field == "diameter"


def test_pieces_left_out_come_from_the_table(elbow, ufgs):
    practice = Practice(gore_rows=ufgs)
    assert elbow(pieces=None, practice=practice).dimensions["pieces"] == 5
    assert elbow(pieces=None, diameter=20, practice=practice).dimensions["pieces"] == 7
    assert elbow(pieces=6, practice=practice).dimensions["pieces"] == 6
    with pytest.raises(CannotBeMade):
        elbow(pieces=None)


USUAL = [
    UsualRange("gored_elbow", "diameter", 4, 60, "Machines close this range.", "common practice, no source"),
    UsualRange("gored_elbow", "radius_ratio", 1, 2.5, "Tighter elbows lose pressure.", ""),
    UsualRange("*", "gore_angle", None, 30, "Too few gores.", ""),
    UsualRange("reducer", "diameter", 50, 60, "Another kind.", ""),
    UsualRange("gored_elbow", "throat_length", 1, None, "Hard to close.", ""),
    UsualRange("gored_elbow", "gauge", 26, 30, "No station takes it.", ""),
]


@pytest.mark.parametrize(
    ("params", "codes"),
    [
        ({}, ["gauge_low"]),
        ({"diameter": 3}, ["diameter_low", "gauge_low"]),
        ({"diameter": 61}, ["diameter_high", "gauge_low"]),
        ({"radius_ratio": 0.75}, ["radius_ratio_low", "gauge_low"]),
        ({"centerline_radius": 42}, ["radius_ratio_high", "gauge_low"]),
        ({"pieces": 3}, ["gore_angle_high", "gauge_low"]),
        ({"pieces": 30}, ["throat_length_low", "gauge_low"]),
    ],
)
def test_unusual_elbows_are_made_with_a_warning(elbow, params, codes):
    dev = elbow(**params, practice=Practice(usual=USUAL))
    assert [warned.code for warned in dev.warnings] == codes


def test_warning_gives_value_range_and_reason(elbow):
    dev = elbow(radius_ratio=0.75, practice=Practice(usual=USUAL))
    assert dev.warnings[0].message == (
        "Centerline radius over diameter is 0.75; usual is 1 to 2.5. Tighter elbows lose pressure."
    )
    in_mm = elbow(diameter=63.5, unit="mm", practice=Practice(usual=USUAL))
    assert in_mm.warnings[0].message.startswith("Diameter is 63.5 mm; usual is 101.6 to 1524 mm.")


def test_throat_too_short_for_two_flanges_warns(elbow):
    # common practice, no source: both flanges and 1/4 in of flat; (21 − 7) × 2 tan(90°/58) = 0.76 in
    flanged = Allowances(edge_a=0.25, edge_b=0.375)
    assert [w.code for w in elbow(pieces=30, allowances=flanged).warnings] == ["throat_too_short_to_flange"]
    assert elbow(pieces=5, allowances=flanged).warnings == ()
    assert elbow(pieces=30).warnings == ()
