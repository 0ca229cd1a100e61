"""The pattern desk: any kind drawn from an address, wrong values beside their fields, files to take away."""

import io
import re
from urllib.parse import parse_qs, urlencode, urlsplit

import ezdxf
import pytest
from django.utils import timezone
from django.utils.html import escape

from fittings import tables
from fittings.forms import LineForm
from fittings.geometry import KINDS
from fittings.models import Customer, Order, TableVersion
from fittings.pattern_desk import area_text, marks_text, sample_params
from tests import factories

pytestmark = pytest.mark.django_db

PAGE, DRAWING = "/pattern-desk/", "/pattern-desk/drawing/"
ELBOW = {"kind": "gored_elbow", "material": "galvanized", "gauge": "24", "diameter": "14", "angle": "90"}


@pytest.fixture
def desk(browse):
    """`desk(kind="tee")`: the page's status and text for what is typed."""
    client = browse()

    def ask(path=PAGE, **typed):
        answer = client.get(path, typed)
        return answer.status_code, answer.content.decode()

    return ask


def figure(page: str, label: str) -> str:
    """What stands beside a label in the table of dimensions."""
    return re.search(rf"<th scope=\"row\">{label}</th><td[^>]*>([^<]*)</td>", page)[1].replace("\xa0", " ")


def beside(page: str, name: str) -> str:
    """The sentence beside a field."""
    return re.search(rf'id="id_{name}_error" data-error>([^<]*)<', page)[1]


# -- every kind --------------------------------------------------------------


@pytest.mark.parametrize("kind", list(KINDS.values()), ids=lambda kind: kind.name)
def test_every_kind_is_drawn_at_once_with_a_field_for_each_of_its_parameters(desk, kind):
    status, page = desk(kind=kind.name)
    assert status == 200
    assert kind.title in page
    for param in kind.params:
        assert re.search(f'<(input|select)[^>]* name="{param.name}"', page), param.name
        assert escape(param.help) in page, param.name
    for letter, _ in kind.ends:
        assert f'name="end_{letter}"' in page
    assert float(figure(page, "Weight, each").removesuffix(" lb")) > 0
    assert page.count('class="sheet desk-pattern"') >= 1
    assert len(re.findall(r'<svg[^>]* role="img"', page)) >= len(KINDS) + 3
    assert "style=" not in page


@pytest.mark.parametrize("kind", list(KINDS.values()), ids=lambda kind: kind.name)
def test_dxf_of_every_kind_has_as_many_outlines_as_its_patterns(browse, desk, kind):
    _, page = desk(kind=kind.name)
    answer = browse().get("/pattern-desk/patterns.dxf", {"kind": kind.name})
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/vnd.dxf")
    document = ezdxf.read(io.StringIO(answer.content.decode()))
    assert document.audit().errors == []
    texts = [one for one in document.modelspace() if one.dxf.layer == "TEXT"]
    assert len(texts) >= page.count('class="sheet desk-pattern"')


def test_each_kind_is_a_link_with_its_drawing_and_carries_the_metal(desk):
    _, page = desk(**{**ELBOW, "material": "stainless", "gauge": "20"})
    links = dict.fromkeys(re.findall(r'<li><a href="\?([^"]*)"', page))
    asked = [parse_qs(link.replace("&amp;", "&")) for link in links]
    assert [one["kind"][0] for one in asked] == list(KINDS)
    assert {(one["material"][0], one["gauge"][0]) for one in asked} == {("stainless", "20")}
    assert re.search(r'href="\?kind=gored_elbow[^"]*" aria-current="page"', page)


def test_every_kind_has_a_sample_for_what_it_must_be_told():
    for kind in KINDS.values():
        missing = {param.name for param in kind.params if param.required} - set(sample_params(kind))
        assert missing == set(), kind.name


# -- what is typed -----------------------------------------------------------


def test_page_without_an_address_shows_an_elbow(desk):
    status, page = desk()
    assert status == 200
    assert 'name="kind" value="gored_elbow"' in page


def test_figures_follow_the_formulas_of_the_elbow(desk):
    """R = 1.5 D; throat radius R - D/2; half-angle 90/(2 (5 - 1)); area: pi, mean diameter, length of the axis."""
    from math import pi, radians, tan

    _, page = desk(**ELBOW, pieces="5", radius_ratio="1.5")
    assert figure(page, "Centerline radius") == "21 in (21.000)"
    assert figure(page, "Throat radius") == "14 in (14.000)"
    assert figure(page, "Miter angle") == "11.25°"
    gauges = next(
        row for row in tables.rows("gauges") if row["material"] == "galvanized" and row["gauge"] == 24
    )
    area = pi * (14 + gauges["thickness_in"]) * 2 * 4 * 21 * tan(radians(11.25))
    shown = re.match(r"([\d.]+) sq ft \(([\d,]+) sq in\)", figure(page, "Net area"))
    assert float(shown[1]) == pytest.approx(area / 144, abs=0.006)
    assert float(shown[2].replace(",", "")) == pytest.approx(area, abs=0.6)


@pytest.mark.parametrize(
    ("typed", "echo"),
    [("14 1/2", "14 1/2 in = 14.500"), ("14-1/2", "14 1/2 in = 14.500"), ("368.3 mm", "14 1/2 in = 14.500")],
)
def test_lengths_are_understood_and_echoed_as_on_an_order(desk, typed, echo):
    _, page = desk(DRAWING, **{**ELBOW, "diameter": typed})
    assert f"<dt>diameter</dt><dd>{echo}</dd>" in page
    assert figure(page, "Diameter") == "14 1/2 in (14.500)"
    _, whole = desk(**{**ELBOW, "diameter": typed})
    assert f'value="{typed}"' in whole
    assert f"data-echo>{echo}<" in whole


def test_answer_alone_is_the_same_drawing_as_in_the_page(desk):
    _, page = desk(**ELBOW)
    _, answer = desk(DRAWING, **ELBOW)
    assert 'data-answer="drawn"' in answer
    assert "<html" not in answer
    for label in ("Weight, each", "Net area", "Heel radius"):
        assert figure(page, label) == figure(answer, label)
    side = re.search(r"<figure.*?</figure>", answer, re.DOTALL)[0]
    assert side in page


def test_equal_patterns_stand_once_with_their_count(desk):
    _, page = desk(DRAWING, **ELBOW, pieces="5")
    assert page.count('class="sheet desk-pattern"') == 3
    assert '<span class="dimension">3 ×</span> Middle gore' in page


def test_address_names_the_fitting_and_gives_the_same_again(desk):
    typed = {**ELBOW, "diameter": "14 1/2", "end_a": "flange", "collar_a": "2", "allow_lap": "0.75"}
    _, page = desk(**typed)
    link = re.search(r'href="/pattern-desk/patterns\.svg\?([^"]*)"', page)[1].replace("&amp;", "&")
    kept = {name: values[0] for name, values in parse_qs(link).items()}
    assert typed.items() <= kept.items()
    _, again = desk(**{name: text for name, text in kept.items() if name != "unit"})
    for label in ("Weight, each", "Net area", "Cut area", "Collar A"):
        assert figure(again, label) == figure(page, label)


def test_link_of_a_kind_alone_is_filled_and_a_blank_size_is_not(desk):
    assert desk(kind="pipe")[0] == 200
    status, page = desk(kind="pipe", diameter="10", length="")
    assert status == 400
    assert "Length is missing" in beside(page, "length")
    assert 'value="10"' in page


def test_unusual_work_has_a_sign_and_a_word(desk):
    _, page = desk(DRAWING, **{**ELBOW, "diameter": "72"})
    warned = re.search(r'<ul class="notices desk-warnings".*?</ul>', page, re.DOTALL)[0]
    assert "Diameter is 72 in; usual is 4 to 60 in." in warned
    assert '<use href="#mark-act"/>' in warned
    assert "Unusual" in warned


def test_shop_that_works_in_mm_types_and_reads_mm(desk):
    rows = [{**row, "value": "mm"} if row["key"] == "unit" else row for row in tables.rows("shop")]
    tables.save(name="shop", new_rows=rows, seen=1, note="", actor=factories.OFFICE_ACTOR, now=timezone.now())
    status, page = desk()
    assert status == 200
    assert "Diameter, mm" in page
    assert figure(page, "Diameter") == "355.6 mm"
    _, page = desk(**{**ELBOW, "diameter": "9000"})
    assert beside(page, "diameter") == "Diameter is 9000 mm; it can be 25.4 to 3048 mm."


# -- wrong values ------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "name", "sentence"),
    [
        ({"diameter": "6000"}, "diameter", "Diameter is 6000 in; it can be 1 to 120 in."),
        ({"diameter": "0.5"}, "diameter", "Diameter is 0.5 in; it can be 1 to 120 in."),
        (
            {"diameter": "1/2/4"},
            "diameter",
            "“1/2/4” is not a length. Write 14.5, 14 1/2, 14-1/2 or 368.3 mm.",
        ),
        ({"angle": "200"}, "angle", "Angle is 200°; it can be more than 0° and at most 180°."),
        ({"angle": "nan"}, "angle", "Angle is “nan”; it can be a number."),
        ({"gauge": "99"}, "gauge", "Gauge is 99; galvanized can be 10 to 30."),
        ({"allow_lap": "x"}, "allow_lap", "“x” is not a length."),
        ({"end_a": "glued"}, "end_a", "End A is “glued”; it can be raw,"),
        ({"material": "tin"}, "material", "Material is “tin”; it can be galvanized,"),
    ],
)
def test_wrong_value_is_told_beside_its_field_and_stays(desk, typed, name, sentence):
    status, page = desk(**{**ELBOW, **typed})
    assert status == 400
    assert beside(page, name).startswith(sentence)
    assert "<title>Error: Pattern desk</title>" in page
    assert f'value="{typed[name]}"' in page
    assert f'aria-describedby="id_{name}_hint id_{name}_error"' in page
    status, answer = desk(DRAWING, **{**ELBOW, **typed})
    assert status == 200
    assert 'data-answer="wrong"' in answer
    assert f"<dt>{name}</dt><dd>{sentence}" in answer
    assert "<svg" not in answer


def test_all_wrong_fields_are_told_at_once(desk):
    _, answer = desk(DRAWING, **{**ELBOW, "diameter": "x", "gauge": "99", "angle": "200"})
    wrong = re.search(r"<dl data-wrong>.*?</dl>", answer)[0]
    assert re.findall("<dt>([^<]*)</dt>", wrong) == ["gauge", "diameter", "angle"]


def test_unknown_kind_says_which_there_are(desk):
    status, page = desk(kind="spiral<b>", diameter="14")
    assert status == 400
    assert "Kind is “spiral&lt;b&gt;”; it can be gored_elbow" in page
    assert "<b>" not in page


@pytest.mark.parametrize("text", ["\0", "9" * 5000, "\N{THUMBS UP SIGN}", "<svg onload=x>", "1e400"])
def test_odd_texts_are_refused_and_shown_as_text(desk, text):
    status, page = desk(**{**ELBOW, "diameter": text})
    assert status == 400
    assert beside(page, "diameter")
    assert "<svg onload" not in page


def test_file_of_a_wrong_fitting_is_refused_naming_the_field(browse):
    answer = browse().get("/pattern-desk/patterns.dxf", {**ELBOW, "diameter": "6000"})
    assert answer.status_code == 400
    assert "Diameter is 6000 in; it can be 1 to 120 in." in answer.content.decode()


@pytest.mark.parametrize(
    ("path", "typed", "sentence"),
    [
        ("patterns.exe", {}, "Format is “exe”; it can be dxf, svg, pdf."),
        ("patterns.dxf", {"unit": "ft"}, "Unit is “ft”; it can be in or mm."),
    ],
)
def test_other_form_or_unit_is_refused(browse, path, typed, sentence):
    answer = browse().get(PAGE + path, {**ELBOW, **typed})
    assert answer.status_code == 400
    assert sentence in answer.content.decode()


# -- files and the way to an order -------------------------------------------


@pytest.mark.parametrize(("form", "begins"), [("dxf", b"  0\n"), ("svg", b"<svg "), ("pdf", b"%PDF-")])
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_files_are_named_by_what_they_are(browse, form, begins, unit):
    answer = browse().get(f"/pattern-desk/patterns.{form}", {**ELBOW, "unit": unit})
    assert answer.status_code == 200
    assert answer["Content-Disposition"] == (
        f'attachment; filename="gored-elbow-24ga-galvanized-{unit}.{form}"'
    )
    assert answer.content.startswith(begins)


def test_dxf_in_mm_is_25_4_times_that_in_inches(browse):
    client = browse()
    sizes = []
    for unit, code in (("in", 1), ("mm", 4)):
        answer = client.get("/pattern-desk/patterns.dxf", {**ELBOW, "unit": unit})
        document = ezdxf.read(io.StringIO(answer.content.decode()))
        assert document.header["$INSUNITS"] == code
        first = next(one for one in document.modelspace() if one.dxf.layer == "CUT")
        xs = [x for x, *_ in first.get_points()]
        sizes.append(max(xs) - min(xs))
    assert sizes[1] / sizes[0] == pytest.approx(25.4)


def test_fitting_is_put_on_a_new_order_as_it_was_typed(browse):
    client = browse()
    page = client.get(
        PAGE, {**ELBOW, "diameter": "14 1/2", "end_b": "flange", "collar_a": "2"}
    ).content.decode()
    form = re.search(r'<form method="post" action="(/orders/new/)">(.*?)</form>', page, re.DOTALL)
    hidden = dict(re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)"', form[2]))
    entry = client.post(form[1], hidden)
    text = entry.content.decode()
    assert entry.status_code == 200
    assert "There is a problem" not in text
    assert re.search('<input[^>]* name="line-0-diameter"[^>]* value="14 1/2"', text)
    assert re.search('<input[^>]* name="line-0-collar_a"[^>]* value="2"', text)
    assert '<option value="flange" selected>' in text
    assert not Order.objects.exists()
    saved = client.post(
        form[1], {**hidden, "act": "save", "customer": "Example Mechanical", "line-0-quantity": "3"}
    )
    assert saved.status_code == 302
    line = Order.objects.get().lines.get()
    assert (line.quantity, line.params["diameter"], line.end_b) == (3, 14.5, "flange")


# -- who, and what it costs ---------------------------------------------------


@pytest.mark.parametrize("path", [PAGE, DRAWING, "/pattern-desk/patterns.dxf"])
def test_desk_is_for_office_and_supervisor(browse, path):
    assert browse("supervisor").get(path).status_code == 200
    refused = browse("display").get(path)
    assert refused.status_code == 403
    assert "It needs office or supervisor" in refused.content.decode()
    nobody = browse("").get(path + "?" + urlencode(ELBOW))
    assert nobody.status_code == 302
    assert parse_qs(urlsplit(nobody["Location"]).query)["next"][0].startswith(path)


@pytest.mark.parametrize(("role", "is_there"), [("office", True), ("supervisor", True), ("display", False)])
def test_every_page_leads_to_the_desk_for_whom_it_is(browse, role, is_there):
    page = browse(role).get("/patterns/").content.decode()
    assert ('href="/pattern-desk/"' in page) == is_there


def test_nothing_is_stored(browse):
    before = [model.objects.count() for model in (Order, Customer, TableVersion)]
    client = browse()
    client.get(PAGE, ELBOW)
    client.get("/pattern-desk/patterns.pdf", ELBOW)
    assert [model.objects.count() for model in (Order, Customer, TableVersion)] == before


def test_page_works_without_script(desk):
    """The form goes to the same address by GET, with a button; the kinds are links."""
    _, page = desk(**ELBOW)
    form = re.search(r'<form method="get" class="desk-fields.*?</form>', page, re.DOTALL)[0]
    assert '<button class="button-main" type="submit">Draw</button>' in form
    names = set(re.findall(r'<(?:input|select)[^>]* name="([^"]*)"', form))
    line = LineForm(prefix="line", choices=_choices(), initial={"kind": "gored_elbow"})
    assert names == set(line.fields) - {"quantity", "tag", "system", "traveler_per"}


def _choices():
    from fittings.forms import choices_of

    return choices_of(tables.all_rows())


# -- texts -------------------------------------------------------------------


def test_areas_in_feet_and_metres():
    """1 ft² = 144 in²; 1 in = 25.4 mm exactly, so 1 m² = 1550.0031 in²."""
    assert area_text(1440, "in") == "10.00 sq ft (1,440 sq in)"
    assert area_text(1550.0031, "mm") == "1.000 m²"


def test_marks_are_counted_in_words():
    marks = [{"name": name} for name in ("throat", "side", "side", "bend", "bend", "bend")]
    assert marks_text({"marks": marks}) == "throat, 2 × side, 3 × bend"
    assert marks_text({}) == ""
