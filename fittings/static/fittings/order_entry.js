/* Order entry: spreadsheet-like lines by keyboard. Without this file the form still works: lines are added by the server. */

import { addLine, changed, chooseNone, fieldsIn, form, kindOf, lineOf, lines, meant, named, setKind, short, takeOut } from "./entry_lines.js";
import { startFavourites } from "./entry_favourites.js";
import { startKeys } from "./entry_keys.js";
import { startPaste } from "./entry_paste.js";
import { startPreview } from "./entry_preview.js";
import { startTotals } from "./entry_totals.js";
import { isKept, settle, startTyped } from "./entry_typed.js";

let isChanged = false;
let isSending = false;
let isSettled = false;
let isSent = false;

form.addEventListener("input", () => { isChanged = true; });

/* A kind is chosen letter by letter: its fields come after a pause, or before the key that leaves the choice. */
const KIND_PAUSE = 400; // ms
let other = null;
let was = null;
let timer = 0;

function followKind() {
  clearTimeout(timer);
  const line = other;
  other = null;
  if (!line?.isConnected) return;
  const active = document.activeElement;
  const hasMoved = active !== was;
  const name = hasMoved && lineOf(active) === line && active.name ? short(line, active) : "kind";
  const isElsewhere = hasMoved && lineOf(active) !== line;
  const made = setKind(line, kindOf(line));
  if (!isElsewhere) (named(made, name) || named(made, "kind")).focus();
  changed();
}

form.addEventListener("change", (event) => {
  const line = lineOf(event.target);
  if (!line || short(line, event.target) !== "kind") return;
  if (other !== line) followKind();
  other = line;
  was = document.activeElement;
  clearTimeout(timer);
  timer = setTimeout(followKind, KIND_PAUSE);
});

form.addEventListener("keydown", (event) => {
  if (other && ["Enter", "Tab"].includes(event.key)) followKind();
}, true);

form.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (button?.matches("[data-add-line]")) {
    event.preventDefault();
    addLine();
  } else if (button?.matches("[data-remove-line]")) {
    event.preventDefault();
    isChanged = true;
    const line = lineOf(button);
    if (!line.classList.contains("is-chosen")) chooseNone();
    takeOut(meant(line), "quantity");
  }
});

form.addEventListener("submit", (event) => {
  if (isSettled && !isSent) {
    isSent = true;
    return;
  }
  event.preventDefault();
  if (isSending) return;
  isSending = true;
  const by = event.submitter;
  // A form is not sent again while it is being sent: not before this event is over.
  settle().finally(() => setTimeout(() => {
    isSettled = true;
    form.requestSubmit(by);
  }));
});

addEventListener("pageshow", () => { isSending = isSettled = isSent = false; });
addEventListener("beforeunload", (event) => {
  if (isChanged && !isSending && !isKept()) event.preventDefault();
});

for (const part of document.querySelectorAll("[data-needs-script]")) part.hidden = false;
if (lines) {
  startKeys();
  startPreview();
  startTotals();
  startPaste();
  startFavourites();
}
startTyped();
if (document.querySelector("[data-focus]")) document.querySelector("[data-focus]").focus();
else fieldsIn(form)[0]?.focus();
