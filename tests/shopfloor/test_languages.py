"""Every text for operators has a Spanish one with the same places, none is left over; scans are answered in it."""

from __future__ import annotations

import string
from datetime import date

import pytest
from babel.messages.mofile import read_mo
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext, ngettext

from fittings.models import Fitting, Segment
from shared.problems import WrongInput
from shared.roles import Actor
from shared.words import LANGUAGES, day_said
from shopfloor.page_words import page_words
from tests import factories
from tests.languages import SOURCES, marked, read
from travelers.languages import speaking
from travelers.models import Operator, Scan
from travelers.release import order_release

EVERY = pytest.mark.parametrize("source", SOURCES, ids=lambda source: f"{source.package}-{source.domain}")


def translations(source) -> dict:
    return {message.id: message.string for message in read(source) if message.id}


def forms(text) -> tuple[str, ...]:
    return (text,) if isinstance(text, str) else tuple(text or ())


def places(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


# -- the catalogues -------------------------------------------------------------


@EVERY
def test_every_marked_text_is_translated_and_none_is_left_over(source):
    wanted, known = set(marked(source)), translations(source)
    assert wanted, "nothing is marked"
    assert wanted - set(known) == set(), "collect them: python -m tests.languages"
    assert set(known) - wanted == set(), "left over: python -m tests.languages"
    assert [text for text, said in known.items() if not forms(said) or not all(forms(said))] == []


@EVERY
def test_translations_have_the_places_of_their_text(source):
    for text, said in translations(source).items():
        wanted = {name for one in forms(text) for name in places(one)}
        for one in forms(said):
            assert places(one) == wanted, (text, one)


@EVERY
def test_translations_are_short_enough_for_where_they_stand(source):
    """A text on a button or in a list may grow by half and a word; no sentence may double."""
    for text, said in translations(source).items():
        longest = max(map(len, forms(text)))
        for one in forms(said):
            assert len(one) <= 1.6 * longest + 12, (text, one)


@EVERY
def test_the_compiled_catalogue_is_that_of_the_readable_one(source):
    with source.path.with_suffix(".mo").open("rb") as file:
        compiled = [(message.id, message.string) for message in read_mo(file) if message.id]
    assert {text if isinstance(text, str) else tuple(text): forms(said) for text, said in compiled} == {
        text: forms(said) for text, said in translations(source).items()
    }, "compile it: python -m tests.languages"


def test_one_text_has_one_translation_in_every_catalogue():
    said: dict = {}
    for source in SOURCES:
        for text, spanish in translations(source).items():
            assert said.setdefault(text, spanish) == spanish, text


def test_no_other_catalogue_speaks_before_ours():
    """The framework's own translations have texts like “Close”: ours are the ones that are said."""
    with translation.override("es"):
        for source in SOURCES:
            if source.domain != "django":
                continue
            for text, spanish in translations(source).items():
                if isinstance(text, str):
                    assert gettext(text) == spanish
                else:
                    assert (ngettext(*text, 1), ngettext(*text, 2)) == forms(spanish)


def test_every_language_has_its_words_for_the_page():
    assert [code for code, _ in LANGUAGES] == ["en", "es"]
    words = page_words()["es"]
    assert words["Finish"] == "Terminar"
    assert words["{n} scan is kept for {station}. Enroll this tablet there to send."] == [
        "Hay {n} escaneo guardado para {station}. Dé de alta esta tableta allí para enviarlo.",
        "Hay {n} escaneos guardados para {station}. Dé de alta esta tableta allí para enviarlos.",
    ]


def test_days_are_said_in_the_language():
    assert day_said(date(2026, 3, 4)) == "Wed 4 Mar"
    with speaking("es"):
        assert day_said(date(2026, 3, 4)) == "mié 4 mar"
    with speaking("xx"):
        assert day_said(date(2026, 3, 4)) == "Wed 4 Mar"


OFFICE = Actor("office", "office")


@pytest.fixture
def released(shop):
    """Puts an order of one fitting, made of `line`, on the floor."""

    def make(number: str, **line) -> None:
        factories.order(number=number, lines=[factories.line(**{"quantity": 1, **line})])
        order_release(number=number, actor=OFFICE, now=timezone.now())

    return make


@pytest.fixture
def supervisor(signed_in):
    return signed_in("supervisor")


# -- operators --------------------------------------------------------------------


def test_an_operator_is_added_in_the_language_chosen_or_the_shops(shop, supervisor):
    assert 'value="en" lang="en" selected' in supervisor.get(reverse("operators")).content.decode()
    supervisor.post(reverse("operators"), {"name": "Ana Ruiz", "language": "es"})
    supervisor.post(reverse("operators"), {"name": "Ben Okafor"})
    assert dict(Operator.objects.values_list("name", "language")) == {"Ana Ruiz": "es", "Ben Okafor": "en"}


def test_a_language_that_there_is_not_is_refused_and_changes_nothing(shop, supervisor, operator):
    wrong = supervisor.post(reverse("operators"), {"name": "Ana Ruiz", "language": "xx"})
    assert wrong.status_code == 400
    assert "The language is “xx”; it can be en, es." in wrong.content.decode()
    assert not Operator.objects.exists()
    ana = operator("Ana Ruiz")
    assert supervisor.post(reverse("operator_language", args=[ana.pk]), {"language": "xx"}).status_code == 400
    ana.refresh_from_db()
    assert ana.language == "en"


def test_the_supervisor_changes_an_operators_language(shop, supervisor, operator):
    ana = operator("Ana Ruiz")
    answer = supervisor.post(reverse("operator_language", args=[ana.pk]), {"language": "es"}, follow=True)
    assert "The tablets speak Español to Ana Ruiz." in answer.content.decode()
    ana.refresh_from_db()
    assert ana.language == "es"


def test_badges_are_listed_with_their_language_when_asked(operator, capsys):
    ana = operator("Ana Ruiz")
    Operator.objects.update(language="es")
    call_command("badges")
    assert capsys.readouterr().out == f"{ana.code}\tAna Ruiz\n"
    call_command("badges", "--language")
    assert capsys.readouterr().out == f"{ana.code}\tAna Ruiz\tes\n"


def test_the_shops_own_language_is_a_row_of_its_table(shop):
    from fittings import tables
    from travelers.languages import shop_language

    assert shop_language() == "en"
    boss = Actor("supervisor", "supervisor")

    def save(given: str) -> None:
        rows = [row for row in tables.rows("shop") if row["key"] != "language"]
        rows.append({"key": "language", "value": given, "note": ""})
        tables.save(name="shop", new_rows=rows, seen=None, note="", actor=boss, now=timezone.now())

    save("es")
    assert shop_language() == "es"
    with pytest.raises(WrongInput, match="en, es"):
        save("xx")
    assert shop_language() == "es"


# -- scans ----------------------------------------------------------------------------


def sent(client, **scan):
    body = {"action": "finish", "scanned_at": timezone.now().isoformat(), **scan}
    answer = client.post(reverse("api_scans"), {"scans": [body]}, content_type="application/json")
    assert answer.status_code == 200, answer.content
    return answer.json()["results"][0]


def test_a_scan_is_answered_in_the_badges_language_and_again_as_the_first_time(
    released,
    station,
    operator,
    tablet,
):
    released("1001")
    ana, ben = operator("Ana Ruiz"), operator("Ben Okafor")
    Operator.objects.filter(pk=ana.pk).update(language="es")
    client = tablet(station("CUT-1", ["cut"]))
    code = Segment.objects.get(position=1).code
    first = sent(client, id="scan-0001", code=code, badge=ana.code)
    assert first["message"] == "Gajo 1 de 5: corte hecho. Sigue: Rolado."
    assert sent(client, id="scan-0002", code=code, badge=ben.code)["message"].startswith(
        "Gore 1 of 5: Cut was finished by Ana Ruiz at "
    )
    Operator.objects.filter(pk=ana.pk).update(language="en")
    again = sent(client, id="scan-0001", code=code, badge=ana.code)
    assert (again["outcome"], again["message"]) == ("repeated", first["message"])
    assert Scan.objects.get(scan_id="scan-0001").message == first["message"]


def test_refusals_are_in_the_language_too_and_an_unknown_badges_in_the_shops(
    released,
    station,
    operator,
    tablet,
):
    released("1001")
    ana = operator("Ana Ruiz")
    Operator.objects.update(language="es")
    client = tablet(station("CUT-1", ["cut"]))
    code = Fitting.objects.get().code
    held = sent(client, id="scan-0001", code=code, badge=ana.code, action="hold", reason="Damaged")
    assert held["message"] == "Accesorio 1: retenido en Corte: Dañado."
    assert Scan.objects.get().reason == "Damaged"
    refused = sent(client, id="scan-0002", code=Segment.objects.get(position=1).code, badge=ana.code)
    assert (refused["outcome"], refused["message"]) == (
        "refused",
        "Gajo 1 de 5: retenido en Corte. Pregunte al supervisor.",
    )
    unknown = sent(client, id="scan-0003", code=code, badge="NOBODY")
    assert unknown["message"] == "That badge is not known here. Ask the supervisor."


def test_the_office_reads_english_whatever_its_browser_asks_for(shop, supervisor):
    page = supervisor.get(reverse("operators"), headers={"accept-language": "es"})
    assert "Operators and badges" in page.content.decode()


# -- what a tablet is given --------------------------------------------------------------


def test_a_tablet_is_given_its_words_in_both_languages(released, station, operator, tablet):
    released("1001")
    operator("Ana Ruiz")
    client = tablet(station("ROLL-1", ["roll"]))
    data = client.get(reverse("api_station_queue")).json()
    assert [one["language"] for one in data["badges"]] == ["en"]
    assert data["cautions"][0]["word"] == "DANGER"
    assert data["in"]["es"]["cautions"][0]["word"] == "PELIGRO"
    assert data["in"]["es"]["cautions"][0]["grade"] == "DANGER"
    piece = client.get(reverse("api_station_piece", args=[Segment.objects.get(position=2).code])).json()
    assert piece["piece"] == "Gore 2 of 5"
    spanish = piece["in"]["es"]
    assert spanish["piece"] == "Gajo 2 de 5"
    assert spanish["fitting"] == 'Codo de gajos 90°, 14", 5 piezas, R 21"'
    assert spanish["where"] == "5 gajos en corte"
    said = {number["label"]: (number["value"], number["exact"]) for number in spanish["numbers"]}
    english = {number["label"]: number["exact"] for number in piece["numbers"]}
    assert said["Diámetro interior"] == ('14"', "")
    assert said["Desarrollo"][1] == english["Stretch-out"]
    assert said["Cara marcada"][0] == "por fuera"
    assert said["Costura en"][0] == "talón"


@pytest.mark.parametrize(
    ("operation", "labels"),
    [
        (
            "assemble",
            {"Gores, A to B": "1–5, throat marks in line", "Standing seam": "1/4 in", "Gap": "3/32 in"},
        ),
        ("ends", {"End A": "Swaged, goes inside", "End B": "Raw", "Goes inside": "A"}),
        ("wrap", {"Count": "1 of 1", "Tag": "AHU-3", "Goes to": "Example Mechanical"}),
    ],
)
def test_numbers_of_the_whole_fitting(released, station, tablet, operation, labels):
    """Standing seam and gap are those of fixtures/tables/allowances.csv for 24 gauge: 0.25 in and 0.083 in."""
    released("1001", end_a="swage", end_b="raw", tag="AHU-3")
    client = tablet(station("X-1", [operation]))
    piece = client.get(reverse("api_station_piece", args=[Fitting.objects.get().code])).json()
    said = {number["label"]: number["value"] for number in piece["numbers"]}
    assert {label: said.get(label) for label in labels} == labels
    assert len(piece["in"]["es"]["numbers"]) == len(piece["numbers"])


@pytest.mark.parametrize(
    ("seam_at", "up", "mark"), [("heel", "up", "22 1/32 in"), ("throat", "down", "at the seam")]
)
def test_throat_at_the_rolls_and_at_the_seam(released, station, tablet, seam_at, up, mark):
    """By hand: mean diameter 14.0276 in, so half the girth is π × 14.0276 / 2 = 22.034 in, 22 1/32 in."""
    params = {"diameter": 14, "angle": 90, "pieces": 5, "radius_ratio": 1.5, "seam_at": seam_at}
    released("1001", params=params)
    code = Segment.objects.get(position=2).code
    rolled = tablet(station("ROLL-1", ["roll"])).get(reverse("api_station_piece", args=[code])).json()
    seamed = tablet(station("SEAM-1", ["seam"])).get(reverse("api_station_piece", args=[code])).json()
    at_rolls = {number["label"]: number["value"] for number in rolled["numbers"]}
    at_seam = {number["label"]: number["value"] for number in seamed["numbers"]}
    assert at_rolls.get("Throat mark from the seam", at_rolls.get("Throat mark")) == mark
    assert at_seam["Throat"] == up


def test_every_pattern_is_drawn_as_seen_from_outside(released):
    """The marked face is the outer one: along the edge, then across the piece, the cross product points outwards."""
    import numpy as np

    kinds = (
        ("gored_elbow", {"diameter": 14, "angle": 90, "pieces": 5}),
        ("offset", {"diameter": 10, "offset": 12, "angle": 45, "pieces": 3}),
        ("reducer", {"diameter_a": 14, "diameter_b": 10, "length": 12}),
        ("pipe", {"diameter": 10, "length": 20}),
        ("tee", {"diameter": 14, "branch_diameter": 8, "angle": 90, "length": 24, "branch_length": 14}),
    )
    for number, (kind, params) in enumerate(kinds):
        released(f"30{number:02}", kind=kind, params=params)
        for part in Fitting.objects.latest("pk").line.development["segments"]:
            low, high = (np.array(row) for row in part["space"][0])
            steps = min(len(low), len(high)) - 1
            middle = low[:steps].mean(axis=0)
            outwards = []
            for at in range(steps):
                along, across = low[at + 1] - low[at], high[at * (len(high) - 1) // (len(low) - 1)] - low[at]
                normal = np.cross(along, across)
                if np.linalg.norm(normal) > 1e-9:
                    outwards.append(float(normal @ (low[at] - middle)))
            assert np.mean(np.array(outwards) > 0) > 0.9, (kind, part["role"])
