"""How a page is judged as it stands in the browser: by axe, and by the sizes and contrasts of its place of use."""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

LEAST_TARGET_PX = 64
LEAST_SECONDARY_PX = 96


def violations(page: Page) -> list[str]:
    """All that axe finds, by all of its rules."""
    return [
        f"{one['id']} ({one['impact']}): {one['help']}: {node['html'][:160]}"
        for one in Axe().run(page).response["violations"]
        for node in one["nodes"][:4]
    ]


def faint(page: Page) -> list[str]:
    """What is below 7:1, or 4.5:1 for large text, on a tablet in glare and on a board across the room."""
    options = {"runOnly": {"type": "rule", "values": ["color-contrast-enhanced"]}}
    found = Axe().run(page, options=options).response
    assert found["passes"], "no text was measured"
    return [f"faint: {node['html'][:160]}" for one in found["violations"] for node in one["nodes"][:8]]


def small_targets(page: Page) -> list[str]:
    targets = page.evaluate(
        """() => [...document.querySelectorAll("a[href], button, input, select, summary, label[for=photo]")]
            .filter((one) => one.checkVisibility({visibilityProperty: true}))
            .filter((one) => !one.matches(".skip, .offscreen, [type=hidden]"))
            .map((one) => { const box = one.getBoundingClientRect();
                return [Math.round(Math.min(box.width, box.height)), one.outerHTML.slice(0, 100)]; })"""
    )
    assert targets, "nothing to touch was found"
    return [f"{size} px to touch: {what}" for size, what in targets if size < LEAST_TARGET_PX]


def small_secondary(page: Page) -> list[str]:
    """What does work in an open dialog and is smaller than a secondary target may be."""
    found = page.evaluate(
        """() => [...document.querySelectorAll("dialog[open] :is(button, label.button)")]
            .filter((one) => one.checkVisibility({visibilityProperty: true}))
            .map((one) => { const box = one.getBoundingClientRect();
                return [Math.round(Math.min(box.width, box.height)), one.outerHTML.slice(0, 100)]; })"""
    )
    return [f"{size} px, a secondary target: {what}" for size, what in found if size < LEAST_SECONDARY_PX]
