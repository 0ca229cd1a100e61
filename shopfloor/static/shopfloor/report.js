// What the tablet tells of itself with what it asks and sends: the page's version, its series of numbers, how much is unsent,
// the battery where the browser tells. Whatever cannot be known is left out: no scan waits for it.

import { asked, within } from "./store.js";

const version = document.getElementById("station")?.dataset.version ?? "";
let battery = null;
navigator.getBattery?.().then(
  (found) => (battery = found),
  () => {},
);

// Headers for a request that carries these entries; they do not count as unsent.
export async function ownReport(carried = []) {
  const headers = {};
  if (version) headers["Tablet-Version"] = version;
  if (battery) {
    headers["Tablet-Battery"] = String(Math.round(battery.level * 100));
    headers["Tablet-Charging"] = battery.charging ? "yes" : "no";
  }
  try {
    const [unsent, numbering] = await within(["unsent", "facts"], "readonly", ({ unsent, facts }) =>
      Promise.all([asked(unsent.getAll()), asked(facts.get("numbering"))]),
    );
    const isCarried = new Set(carried.map(({ id }) => id));
    const rest = unsent.filter(({ id }) => !isCarried.has(id));
    headers["Tablet-Unsent"] = String(rest.length);
    if (rest.length) {
      const age = Date.now() - Math.min(...rest.map(({ kept_at }) => kept_at));
      headers["Tablet-Oldest-Unsent"] = String(Math.max(0, Math.round(age / 1000)));
    }
    if (numbering) headers["Tablet-Series"] = numbering.series;
  } catch {
    // the store does not answer: it is told on the screen
  }
  return headers;
}
