// The cautions of the operation, shown to each badge once a day when it comes in. Whatever is scanned or tapped next goes on.

import * as show from "./show.js";
import { say } from "./language.js";

const KEY = "cautions_shown";
const ROOM = 3;

const today = () => new Date().toLocaleDateString("sv-SE"); // 2026-03-04, by the device's own day

function shownToday() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEY));
    return kept?.day === today() ? kept.to : [];
  } catch {
    return [];
  }
}

// Whether this badge has not seen them today at this station; from now on it has.
export function isDue(station, badge) {
  const key = `${station} ${badge}`;
  const to = shownToday();
  if (to.includes(key)) return false;
  try {
    localStorage.setItem(KEY, JSON.stringify({ day: today(), to: [...to, key] }));
  } catch {
    // shown at each badge-in then
  }
  return true;
}

// The gravest of them, and how many more are one tap away; over the numbers of a piece until the box is shown none.
export function showDaily(box, cautions) {
  const seen = cautions.length > ROOM ? ROOM - 1 : cautions.length;
  const rest = cautions.length - seen;
  const drawn = [
    show.element("h2", { className: "daily-title", text: say("Before you start here today") }),
    ...cautions.slice(0, seen).map(show.caution),
    rest > 0 && show.element("p", { className: "soft", text: say("{n} more below", { n: rest }) }),
  ];
  box.hidden = cautions.length === 0;
  box.replaceChildren(...(box.hidden ? [] : drawn.filter(Boolean)));
}
