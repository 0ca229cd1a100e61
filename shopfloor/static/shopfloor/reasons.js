// The shop's reasons as buttons. What is recorded is the reason itself; what is said is in the language of the badge.

import { element } from "./show.js";

const filled = (box, choices, name) =>
  box.replaceChildren(...choices.map(({ reason, words }) => element("button", { className: "button", type: "button", text: words, data: { [name]: reason } })));

// Each holds at once, and closes the dialog.
export function offerHolds(box, choices = []) {
  filled(box, choices, "reason");
  for (const one of box.children) one.dataset.close = "";
}

// One is chosen, then the scrap is confirmed. Where the shop's table has none there is nothing to choose.
export function offerScraps(box, choices = [], confirm) {
  filled(box, choices, "scrapReason");
  confirm.disabled = choices.length > 0;
  box.onclick = ({ target }) => {
    const chosen = target.closest("[data-scrap-reason]");
    if (!chosen) return;
    for (const one of box.children) one.setAttribute("aria-pressed", String(one === chosen));
    confirm.disabled = false;
  };
}

// A recorded reason in the language of the badge; as it stands where the shop's table does not have it.
export function reasonSaid(reason, { hold = [], scrap = [] } = {}) {
  return [...hold, ...scrap].find((one) => one.reason === reason)?.words ?? reason;
}

export const chosenIn = (box) => box.querySelector("[aria-pressed=true]")?.dataset.scrapReason ?? "";
