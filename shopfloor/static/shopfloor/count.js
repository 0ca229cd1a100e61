// How many of a lot the next scan is about: a pad of digits alone. Without it a scan of a traveler is about all that are left.

import { say } from "./language.js";

const DIGITS = "1234567890";
const LONGEST = 4;

// Fills the dialog's keys; calls entered(number). What was entered stays in sight on the opener until it is taken or dropped.
export function prepareCount(dialog, opener, entered) {
  const shown = dialog.querySelector("[data-shown]");
  const enter = dialog.querySelector("[type=submit]");
  let text = "";
  let counted = null;
  const draw = () => {
    opener.textContent = counted ? say("Count {n}", { n: counted }) : say("Count…");
    opener.setAttribute("aria-pressed", String(Boolean(counted)));
  };
  const hold = (number) => {
    counted = number;
    draw();
  };
  const show = () => {
    shown.textContent = text || " ";
    enter.disabled = !Number(text);
  };
  const keys = [...DIGITS].map((character) => {
    const key = document.createElement("button");
    key.type = "button";
    key.textContent = key.dataset.character = character;
    return key;
  });
  dialog.querySelector("[data-digits]").prepend(...keys);
  dialog.addEventListener("click", (event) => {
    const { character, act } = event.target.closest("button")?.dataset ?? {};
    if (character && text.length < LONGEST) text += character;
    if (act === "back") text = text.slice(0, -1);
    show();
  });
  dialog.querySelector("form").addEventListener("submit", (event) => {
    event.preventDefault();
    dialog.close();
    if (!Number(text)) return;
    hold(Number(text));
    entered(counted);
  });
  return {
    draw,
    drop: () => hold(null),
    // The count of the next start or finish, which is about it alone; null is all that are left.
    take() {
      const taken = counted;
      hold(null);
      return taken;
    },
    open() {
      text = "";
      show();
      dialog.showModal();
    },
  };
}
