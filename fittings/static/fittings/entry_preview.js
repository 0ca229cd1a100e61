/* The fitting of the line that has the focus, drawn as it is typed, and what was understood of each length. */

import { allLines, form, lineOf, lines, short } from "./entry_lines.js";

const PAUSE = 120; // ms after the last key
const preview = form.querySelector("[data-preview]");
const help = form.querySelector("[data-entry-help]");
const unread = new Set(); // lines whose last typed values were not understood yet

let current = null;
let timer = 0;
let asked = 0;
let running = null;

export function show(line, pause = 0) {
  clearTimeout(timer);
  timer = setTimeout(() => ask(line), pause);
}

function lineData(line) {
  const data = new FormData();
  for (const field of line.querySelectorAll("input, select")) {
    if (field.type !== "checkbox" || field.checked) data.append(`line-${short(line, field)}`, field.value);
  }
  data.append("due", form.elements.due.value);
  data.append("csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value);
  return data;
}

async function answerFor(line, signal) {
  unread.delete(line);
  const answer = await fetch(form.dataset.previewUrl, { method: "POST", body: lineData(line), signal });
  if (!answer.ok) throw new Error(answer.status);
  return answer.text();
}

async function ask(line) {
  if (!line?.isConnected) return;
  const own = ++asked;
  running?.abort();
  running = new AbortController();
  try {
    const html = await answerFor(line, running.signal);
    if (own !== asked) return;
    preview.innerHTML = html;
    preview.dataset.shown = line.dataset.line;
    showEchoes(line, preview);
  } catch (error) {
    unread.add(line);
    if (error.name === "AbortError" || own !== asked) return;
    preview.textContent = "The drawing could not be made: the server did not answer. What you typed is safe on this page; go on, or try again.";
  }
}

/* A line that was left before its answer came still says what was understood of it. */
async function readLeft(line) {
  const holder = document.createElement("div");
  try {
    holder.innerHTML = await answerFor(line);
    showEchoes(line, holder);
  } catch {
    unread.add(line);
  }
}

function showEchoes(line, answer) {
  const told = {};
  for (const name of answer.querySelectorAll("[data-echoes] dt")) told[name.textContent] = name.nextElementSibling.textContent;
  for (const echo of line.querySelectorAll("[data-echo]")) echo.textContent = told[echo.dataset.echo] || "";
  form.querySelector("[data-due-echo]").textContent = answer.querySelector("[data-due-read]")?.textContent || "";
}

/* What the field that one is in means; the sentence of the kind where it says nothing itself. */
function tellHelp(line, field) {
  const label = field.labels?.[0]?.textContent;
  const isOwn = field.title && short(line, field) !== "kind";
  help.textContent = isOwn ? `${label}: ${field.title}` : line.dataset.kindHelp;
}

export function startPreview() {
  form.addEventListener("focusin", (event) => {
    const line = lineOf(event.target);
    if (line && event.target.matches("input, select")) tellHelp(line, event.target);
    if (!line || line === current) return;
    current?.classList.remove("is-current");
    const left = current;
    current = line;
    line.classList.add("is-current");
    show(line);
    if (left?.isConnected && unread.has(left)) readLeft(left);
  });
  form.addEventListener("input", (event) => {
    const line = lineOf(event.target);
    if (line) {
      unread.add(line);
      show(line, PAUSE);
    } else if (event.target.name === "due" && lines) show(current || allLines()[0], PAUSE);
  });
  form.addEventListener("entrychange", () => {
    if (current?.isConnected) show(current, PAUSE);
  });
  show(lines.querySelector(".is-wrong")?.closest("[data-line]") || allLines()[0]);
}
