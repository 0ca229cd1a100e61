// The station itself does not work: told here with its reason, and told again when it runs. It needs the network; scans go on.

import { say, spoken } from "./language.js";
import { element } from "./show.js";

const PATIENCE_MS = 8_000;
const BACK_MINUTES = [15, 30, 60, 120, 240];

const backWords = (minutes) => (minutes === null ? say("Not known") : minutes < 60 ? say("{n} min", { n: minutes }) : say("{n} h", { n: minutes / 60 }));

function choices(box, chosen, options, draw) {
  box.replaceChildren(...options.map((one) => element("button", { className: "button", type: "button", text: draw(one), data: { choice: JSON.stringify(one) } })));
  for (const one of box.children) one.setAttribute("aria-pressed", String(one.dataset.choice === JSON.stringify(chosen)));
  box.onclick = ({ target }) => {
    const button = target.closest("[data-choice]");
    if (!button) return;
    for (const one of box.children) one.setAttribute("aria-pressed", String(one === button));
  };
}

const chosenIn = (box) => JSON.parse(box.querySelector("[aria-pressed=true]")?.dataset.choice ?? "null");

async function post(url, body, csrf) {
  try {
    const headers = { "Content-Type": "application/json", "X-CSRFToken": csrf(), Accept: "application/json" };
    const answer = await fetch(url, { method: "POST", headers, body: JSON.stringify(body), signal: AbortSignal.timeout(PATIENCE_MS), redirect: "error" });
    return { isTold: answer.ok, ...(await answer.json()) };
  } catch {
    return null;
  }
}

// at: finds an element; who: the badge that is in, or null; tell: shows a sentence; refresh: asks the server again
export function prepareDown({ at, urls, csrf, who, tell, refresh }) {
  let data = {};

  function draw(fresh) {
    data = fresh;
    const isLate = Boolean(data.down?.back_at) && Date.now() >= Date.parse(data.down.back_at);
    at("down-words").textContent = data.down ? spoken(data.down)[isLate ? "late" : "words"] : "";
    at("down").hidden = !data.down;
    at("down-open").textContent = data.down ? say("Runs again") : say("Down…");
  }

  async function sent(url, body) {
    const answer = await post(url, body, csrf);
    if (!answer) return tell("refused", say("Not told: no connection. Tell the supervisor."));
    if (!answer.isTold) return tell("refused", answer.detail ?? say("Not told. Tell the supervisor."));
    tell("recorded", answer.words);
    refresh();
  }

  function tap() {
    const badge = who();
    if (!badge) return tell("refused", say("Scan your badge first."));
    if (data.down) return sent(urls.up, { badge: badge.code });
    const reasons = spoken(data).reasons?.down ?? [];
    choices(at("down-reasons"), null, reasons.map((one) => one.reason), (reason) => reasons.find((one) => one.reason === reason).words);
    choices(at("down-back"), null, [...BACK_MINUTES, null], backWords);
    at("down-dialog").showModal();
  }

  function sure() {
    const badge = who();
    if (badge) sent(urls.down, { badge: badge.code, reason: chosenIn(at("down-reasons")) ?? "", minutes: chosenIn(at("down-back")) });
  }

  return { draw, tap, sure };
}
