/* What the lines ask for so far, worked out by the server after each pause; lines that cannot be counted are marked. */

import { allLines, form, isBlank, lineOf } from "./entry_lines.js";

const PAUSE = 350; // ms after the last change
const place = document.querySelector("[data-totals]");
const systems = document.querySelector("[data-systems]");

let timer = 0;
let running = null;

function later(pause = PAUSE) {
  clearTimeout(timer);
  timer = setTimeout(ask, pause);
}

async function ask() {
  running?.abort();
  running = new AbortController();
  place.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(form.dataset.totalsUrl, { method: "POST", body: new FormData(form), signal: running.signal });
    if (!answer.ok) throw new Error(answer.status);
    show(await answer.text());
  } catch (error) {
    if (error.name === "AbortError") return;
    place.textContent = "The totals could not be worked out: the server did not answer.";
  }
  place.removeAttribute("aria-busy");
}

function show(html) {
  const holder = document.createElement("div");
  holder.innerHTML = html;
  place.replaceChildren(holder.querySelector(".totals"));
  systems.replaceChildren(...holder.querySelector("[data-by-system]").children);
  const wrong = new Map([...holder.querySelectorAll("[data-wrong-lines] li")].map((one) => [one.dataset.of, one.textContent]));
  const here = lineOf(document.activeElement);
  for (const line of allLines()) {
    const text = line === here || isBlank(line) ? "" : wrong.get(line.dataset.line) || "";
    const told = line.querySelector("[data-line-trouble]");
    line.classList.toggle("has-trouble", Boolean(text));
    told.textContent = text && `Not counted: ${text}`;
  }
  for (const one of holder.querySelectorAll("[data-understood] li")) {
    const line = document.querySelector(`[data-line="${one.dataset.of}"]`);
    const echo = line !== here && line?.querySelector(`[data-echo="${one.dataset.field}"]`);
    if (echo) echo.textContent = one.textContent;
  }
}

export function startTotals() {
  if (!form.dataset.totalsUrl || !place) return;
  form.addEventListener("input", () => later());
  form.addEventListener("change", () => later());
  form.addEventListener("entrychange", () => later());
  let last = null;
  form.addEventListener("focusin", (event) => {
    const line = lineOf(event.target);
    if (line !== last) later();
    last = line;
  });
  later(0);
}
