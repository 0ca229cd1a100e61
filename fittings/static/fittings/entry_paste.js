/* Cells copied from a spreadsheet fill lines; what has no place is kept in a field of its own. */

import {
  CARRIED, allLines, changed, fill, form, insertLines, isBlank, kindOf, lineOf, named, remember, say, select, setKind, short,
  takeAway, values,
} from "./entry_lines.js";

const isCells = (text) => /\t|\r?\n./.test(text.trimEnd());

async function read(text, line, field) {
  const data = new FormData();
  data.append("csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value);
  data.append("text", text);
  data.append("kind", kindOf(line));
  data.append("column", short(line, field));
  const answer = await fetch(form.dataset.pastedUrl, { method: "POST", body: data, headers: { Accept: "application/json" } });
  const body = await answer.json();
  if (!answer.ok) throw new Error(body.detail);
  return body;
}

/* Rows fill the line that has the focus and those below it; further rows make new lines. Rows under heads do not write
   over a line that has something in it: they go below. */
function place(found, line) {
  const before = [];
  const made = [];
  const base = Object.fromEntries(CARRIED.map((name) => [name, values(line)[name]]));
  let here = found.has_heads && !isBlank(line) ? null : line;
  let last = line;
  for (const given of found.lines) {
    if (here) {
      before.push([here.dataset.line, values(here)]);
      const own = kindOf(here) === given.kind ? here : setKind(here, given.kind);
      fill(own, given);
      last = own;
      here = own.nextElementSibling;
    } else {
      const [fresh] = insertLines([{ ...base, ...given }], last);
      if (!fresh) break;
      made.push(fresh);
      last = fresh;
    }
  }
  return { before, made };
}

function back({ before, made }) {
  if (made.length) takeAway(made.filter((line) => line.isConnected));
  let first = null;
  for (const [name, given] of before) {
    let line = allLines().find((one) => one.dataset.line === name);
    if (!line) continue;
    if (kindOf(line) !== given.kind) line = setKind(line, given.kind);
    fill(line, given);
    first ||= line;
  }
  return first;
}

function keepLeft(sentences) {
  const left = form.elements.left;
  left.value = [left.value.trim(), ...sentences].filter(Boolean).join("\n");
  left.closest("[data-left]").hidden = false;
}

export function startPaste() {
  form.addEventListener("paste", async (event) => {
    const line = lineOf(event.target);
    const text = event.clipboardData?.getData("text/plain") || "";
    if (!line || !event.target.name || !isCells(text)) return;
    event.preventDefault();
    say("The cells are being read.");
    try {
      const found = await read(text, line, event.target);
      const done = place(found, line);
      const rows = found.lines.length;
      if (found.left.length) keepLeft(found.left);
      const told = found.left.length ? ` ${found.left.length} ${found.left.length === 1 ? "cell has" : "cells have"} no place: see below.` : "";
      changed();
      remember(`${rows} ${rows === 1 ? "row was" : "rows were"} pasted.${told}`, () => back(done));
      const at = done.made.at(-1) || allLines().find((one) => one.dataset.line === done.before.at(-1)?.[0]);
      if (at) select(named(at, "quantity"));
    } catch (error) {
      say(`Nothing was pasted. ${error.message}`);
    }
  });
  const left = form.elements.left;
  left?.addEventListener("input", () => { left.closest("[data-left]").hidden = !left.value.trim() && document.activeElement !== left; });
}
