// What the API browser leaves outside every landmark gets one, and its headings, which begin at the third level, follow the title.

const REGIONS = { ".information-container": "Description", ".scheme-container": "Sign-in" };
const browser = document.getElementById("swagger-ui");

function fitIn() {
  for (const [part, name] of Object.entries(REGIONS)) {
    for (const found of browser.querySelectorAll(`${part}:not([role])`)) {
      found.setAttribute("role", "region");
      found.setAttribute("aria-label", name);
    }
  }
  for (const heading of browser.querySelectorAll(":is(h3, h4, h5):not([aria-level])")) {
    heading.setAttribute("aria-level", String(Number(heading.localName[1]) - 1));
  }
}

new MutationObserver(fitIn).observe(browser, { childList: true, subtree: true });
fitIn();
