// How many of a lot the next scan is about: a pad of digits alone. Without it a scan of a traveler is about all that are left.

const DIGITS = "1234567890";
const LONGEST = 4;

// Fills the dialog's keys; calls entered(number).
export function prepareCount(dialog, entered) {
  const shown = dialog.querySelector("[data-shown]");
  const enter = dialog.querySelector("[type=submit]");
  let text = "";
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
    if (Number(text)) entered(Number(text));
  });
  return {
    open() {
      text = "";
      show();
      dialog.showModal();
    },
  };
}
