// A keyboard of our own for codes: big digits, then letters without look-alikes. No system keyboard comes up.

import { grouped } from "./codes.js";
import { marked } from "./language.js";

const DIGITS = "1234567890";
const LETTERS = "ABCDEFGHJKMNPQRSTVWXYZ";
const LONGEST = 10;

// Fills the dialog's keys; calls entered(text) with what was typed. `mark` is what every code of the shop begins with.
export function preparePad(dialog, { mark, entered }) {
  const field = dialog.querySelector("input");
  const shown = dialog.querySelector("[data-shown]");
  const digits = dialog.querySelector("[data-digits]");
  const letters = dialog.querySelector("[data-letters]");
  const key = (text, act = "") => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = text;
    if (act) {
      button.classList.add("pad-word");
      button.dataset.say = text;
    }
    button.dataset[act ? "act" : "character"] = act || text;
    return button;
  };
  digits.replaceChildren(...[...DIGITS].map((text) => key(text)), key(marked("Clear"), "clear"), key(marked("Back"), "back"));
  letters.replaceChildren(...[...LETTERS].map((text) => key(text)));

  const show = () => {
    field.value = field.value.toUpperCase().slice(0, LONGEST + 4);
    shown.textContent = grouped(field.value.replace(/\s/g, "")) || " ";
  };
  dialog.addEventListener("click", (event) => {
    const { character, act } = event.target.closest("button")?.dataset ?? {};
    if (character && field.value.length < LONGEST) field.value += character;
    if (act === "clear") field.value = "";
    if (act === "back") field.value = field.value.slice(0, -1);
    if (character || act) show();
  });
  field.addEventListener("input", show);
  dialog.querySelector("form").addEventListener("submit", (event) => {
    event.preventDefault();
    const text = field.value;
    dialog.close();
    entered(text);
  });

  return {
    open() {
      field.value = mark;
      show();
      dialog.showModal();
      field.focus();
    },
  };
}
