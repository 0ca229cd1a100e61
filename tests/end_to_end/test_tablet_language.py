"""The station's page speaks the language of the badge that is in, without the network too, and no word is cut off."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from travelers.models import Operator, Scan, Task

from .conftest import TABLET

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

WIDE = {"width": 1280, "height": 800}
DIALOGS = ("hold", "pad", "camera", "scans", "cautions", "scrap")


@pytest.fixture
def ana(badges):
    """Ana's badge; she reads Spanish."""
    Operator.objects.filter(name="Ana Ruiz").update(language="es")
    return badges["Ana Ruiz"]


@pytest.fixture
def ben(badges):
    return badges["Ben Okafor"]


def bar(page, result: str):
    return page.locator(f".station-result .result:visible[data-moment={result}]")


def acts(page) -> list[str]:
    return page.locator(".station-acts button:visible").all_inner_texts()


def test_the_badge_chooses_the_language_at_once(ana, ben, tablet, scan):
    page = tablet("CUT-1")
    expect(page.locator("html")).to_have_attribute("lang", "en")
    scan(page, ana)
    expect(page.locator("html")).to_have_attribute("lang", "es")
    expect(bar(page, "idle")).to_contain_text("Ahora escanea Ana Ruiz.")
    assert acts(page) == ["Iniciar", "Terminar", "Retener", "Teclear código", "Cámara", "Deshacer"]
    expect(page.locator("#next-title")).to_have_text("Sigue aquí")
    expect(page.locator("#queue li").first).to_contain_text("Gajo 1 de 5")
    expect(page.locator("#queue li").first).to_contain_text('14", cal. 24')
    expect(page.locator("#unsent-words")).to_have_text("Todo enviado")
    scan(page, ben)
    expect(page.locator("html")).to_have_attribute("lang", "en")
    assert acts(page) == ["Start", "Finish", "Hold", "Type code", "Camera", "Undo"]
    expect(page.locator("#queue li").first).to_contain_text("Gore 1 of 5")


def test_the_answer_is_in_the_badges_language_and_stays_as_it_was_given(ana, ben, tablet, scan, codes):
    page = tablet("CUT-1")
    scan(page, ana)
    scan(page, codes[0])
    expect(bar(page, "recorded")).to_contain_text("Registrado")
    expect(bar(page, "recorded")).to_contain_text("Gajo 1 de 5: corte hecho. Sigue: Rolado.")
    assert Scan.objects.get().message == "Gajo 1 de 5: corte hecho. Sigue: Rolado."
    scan(page, ben)
    page.wait_for_timeout(1_100)  # the same code at once is the same scan
    scan(page, codes[0])
    expect(bar(page, "already")).to_contain_text("Gore 1 of 5: Cut was finished by Ana Ruiz")


def test_without_the_network_it_speaks_the_next_badges_language_too(ana, ben, tablet, scan, codes):
    page = tablet("CUT-1")
    scan(page, ben)
    scan(page, codes[0])
    expect(bar(page, "recorded")).to_be_visible()
    page.locator(f"#queue [data-code='{codes[1]}']").click()
    expect(page.locator("#piece .numbers")).to_contain_text("Stretch-out")
    page.context.set_offline(True)
    scan(page, ana)
    expect(page.locator("#piece .piece-title")).to_contain_text("Gajo 2 de 5")
    expect(page.locator("#piece")).to_contain_text("cal. 24 galvanizada")
    scan(page, codes[1])
    expect(page.locator("#piece .numbers")).to_contain_text("Desarrollo")
    expect(bar(page, "waiting")).to_contain_text("Guardado aquí, sin enviar")
    expect(bar(page, "waiting")).to_contain_text("Gajo 2 de 5: hecho.")
    expect(page.locator("#unsent-words")).to_contain_text("1 sin enviar")
    page.context.set_offline(False)
    expect(bar(page, "recorded")).to_contain_text("Gajo 2 de 5: corte hecho.", timeout=15_000)


def test_the_language_is_that_of_the_badge_after_a_reload(ana, tablet, scan):
    page = tablet("CUT-1")
    scan(page, ana)
    page.reload()
    page.wait_for_selector("#station[data-ready=yes]")
    expect(page.locator("html")).to_have_attribute("lang", "es")
    expect(bar(page, "idle")).to_contain_text("Escanee una pieza.")


def test_reasons_are_read_in_the_language_and_kept_as_the_shop_names_them(ana, ben, tablet, scan, codes):
    page = tablet("CUT-1")
    scan(page, ana)
    page.locator(f"#queue [data-code='{codes[0]}']").click()
    page.locator("#act-hold").click()
    page.get_by_role("button", name="Calibre o medida mal").click()
    expect(bar(page, "recorded")).to_contain_text("Gajo 1 de 5: retenido en Corte: Calibre o medida mal.")
    assert Scan.objects.get().reason == "Wrong gauge or size"
    assert Task.objects.get(state="held").reason == "Wrong gauge or size"
    expect(page.locator("#piece .piece-facts")).to_contain_text("Retenido: Calibre o medida mal")
    expect(page.locator("#act-resume")).to_have_text("Reanudar")
    scan(page, ben)
    expect(page.locator("#piece .piece-facts")).to_contain_text("On hold: Wrong gauge or size")


def test_cautions_are_shown_at_badge_in_once_a_day_to_each(ana, ben, tablet, scan, codes):
    page = tablet("ROLL-1")
    scan(page, ana)
    daily = page.locator("#daily")
    expect(daily).to_contain_text("Antes de empezar aquí hoy")
    expect(daily).to_contain_text("PELIGRO")
    expect(daily).to_contain_text("sin guantes ni mangas sueltas en los rodillos")
    scan(page, codes[0])
    expect(daily).to_be_hidden()
    expect(page.locator("#piece .piece-title")).to_contain_text("Gajo 1 de 5")
    scan(page, ben)
    expect(daily).to_contain_text("Before you start here today")
    scan(page, ana)
    expect(daily).to_be_hidden()
    page.evaluate(
        """() => {
            const kept = JSON.parse(localStorage.getItem("cautions_shown"));
            localStorage.setItem("cautions_shown", JSON.stringify({ ...kept, day: "2026-01-05" }));
        }"""
    )
    scan(page, ben)
    expect(daily).to_be_visible()
    scan(page, ana)
    expect(daily).to_be_visible()


def overflowing(page) -> list[dict]:
    """Buttons and headings of which a word is cut off or reaches out of its box, as the browser measures."""
    return page.evaluate(
        """() => [...document.querySelectorAll("button, .button, h1, h2, .station-badge, .state-word")]
            .filter((one) => one.checkVisibility())
            .filter((one) => one.scrollWidth > one.clientWidth + 1
                || (one.matches("button, .button") && one.scrollHeight > one.clientHeight + 1))
            .filter((one) => getComputedStyle(one).display !== "inline" && !one.classList.contains("offscreen"))
            .map((one) => ({ text: one.textContent.trim(), wide: one.scrollWidth, room: one.clientWidth,
                             high: one.scrollHeight, space: one.clientHeight }))"""
    )


@pytest.mark.parametrize("size", [TABLET, WIDE], ids=["1180x820", "1280x800"])
@pytest.mark.parametrize("language", ["en", "es"])
def test_no_word_is_too_long_for_its_button(language, size, badges, tablet, scan, codes):
    Operator.objects.update(language=language)
    page = tablet("CUT-1")
    page.set_viewport_size(size)
    scan(page, badges["Ana Ruiz"])
    assert overflowing(page) == []
    page.locator(f"#queue [data-code='{codes[1]}']").click()
    expect(page.locator("#piece .numbers")).to_be_visible()
    assert overflowing(page) == []
    for box in page.locator(".station-acts button:visible").all():
        place = box.bounding_box()
        assert place["x"] >= 0 and place["x"] + place["width"] <= size["width"], place
        assert place["y"] + place["height"] <= size["height"], place
    for name in DIALOGS:
        page.evaluate("(name) => document.getElementById(name).showModal()", name)
        assert overflowing(page) == [], name
        page.evaluate("(name) => document.getElementById(name).close()", name)
