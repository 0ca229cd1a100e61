/* Order entry by keyboard, and the live preview. Without this file the form still works: lines are added by the server. */

const form = document.getElementById("order-entry");
const lines = form.querySelector("[data-lines]");
const preview = form.querySelector("[data-preview]");
const status = form.querySelector("[data-line-status]");
const help = form.querySelector("[data-entry-help]");
const count = form.querySelector("[data-line-count]");
const PAUSE = 120; // ms after the last key

let isChanged = false;
let isSending = false;

/* Lines ------------------------------------------------------------------------------------------------------------ */

const lineOf = (element) => element.closest?.("[data-line]");
const allLines = () => [...lines.querySelectorAll("[data-line]")];
const named = (line, name) => line.querySelector(`[name="${line.dataset.line}-${name}"]`);
const short = (line, field) => field.name.slice(line.dataset.line.length + 1);
const isSeen = (element) => element.getClientRects().length > 0;
const fieldsIn = (part) => [...part.querySelectorAll("input:not([type=hidden]), select, textarea")].filter(isSeen);

function numberLines() {
  allLines().forEach((line, at) => {
    line.querySelector("[data-line-number]").textContent = at + 1;
    line.setAttribute("aria-label", `Line ${at + 1}`);
  });
}

function blankLine(kind, at) {
  const template = document.querySelector(`template[data-kind="${kind}"]`);
  const holder = document.createElement("div");
  holder.innerHTML = template.innerHTML.replaceAll("__n__", at);
  return holder.querySelector("[data-line]");
}

function copyValues(from, to, names) {
  for (const field of from.querySelectorAll("input, select")) {
    const name = short(from, field);
    const other = named(to, name);
    if (!other || (names && !names.includes(name))) continue;
    const isOffered = other.tagName !== "SELECT" || [...other.options].some((option) => option.value === field.value);
    if (field.type === "checkbox") other.checked = field.checked;
    else if (isOffered) other.value = field.value;
  }
}

function addLine() {
  const last = allLines().at(-1);
  const at = Number(count.value);
  const line = blankLine(last ? named(last, "kind").value : document.querySelector("template[data-kind]").dataset.kind, at);
  count.value = at + 1;
  lines.append(line);
  if (last) copyValues(last, line, form.dataset.carried.split(" "));
  numberLines();
  named(line, "quantity").focus();
}

function changeKind(line) {
  const at = line.dataset.line.split("-")[1];
  const other = blankLine(named(line, "kind").value, at);
  copyValues(line, other);
  other.querySelector("details").open = line.querySelector("details").open;
  line.replaceWith(other);
  numberLines();
  named(other, "kind").focus();
}

function takeOut(line) {
  const next = line.nextElementSibling;
  const number = line.querySelector("[data-line-number]").textContent;
  line.remove();
  if (!allLines().length) addLine();
  numberLines();
  const back = document.createElement("button");
  back.type = "button";
  back.className = "button button-small";
  back.textContent = "Put it back";
  back.addEventListener("click", () => {
    lines.insertBefore(line, next?.isConnected ? next : null);
    numberLines();
    status.replaceChildren();
    named(line, "quantity").focus();
  });
  status.replaceChildren(`Line ${number} was taken out. `, back);
  back.focus();
}

const isBlank = (line) => fieldsIn(line.querySelector(".line-fields"))
  .filter((field) => field.tagName === "INPUT" && field.type !== "checkbox" && short(line, field) !== "gauge")
  .every((field) => !field.value.trim());

function moveOn(field) {
  const line = lineOf(field);
  const fields = fieldsIn(form);
  if (!line) return fields[fields.indexOf(field) + 1]?.focus();
  const isLast = line === allLines().at(-1);
  if (isLast && isBlank(line) && allLines().length > 1) return form.querySelector("[data-save]").focus();
  const own = fieldsIn(line);
  const next = own[own.indexOf(field) + 1];
  const isTag = short(line, field) === "tag";
  if (next && !isTag) return select(next);
  const following = line.nextElementSibling;
  if (following) return select(named(following, "quantity"));
  return addLine();
}

function select(field) {
  field.focus();
  if (field.select) field.select();
}

/* What the field that one is in means; the sentence of the kind where it says nothing itself. */
function tellHelp(line, field) {
  const label = field.labels?.[0]?.textContent;
  const isOwn = field.title && short(line, field) !== "kind";
  help.textContent = isOwn ? `${label}: ${field.title}` : line.dataset.kindHelp;
}

/* Preview ---------------------------------------------------------------------------------------------------------- */

let current = null;
let timer = 0;
let asked = 0;
let running = null;

function show(line, pause) {
  clearTimeout(timer);
  timer = setTimeout(() => ask(line), pause);
}

const unread = new Set(); // lines whose last typed values were not understood yet

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

/* Events ----------------------------------------------------------------------------------------------------------- */

form.addEventListener("focusin", (event) => {
  const line = lineOf(event.target);
  if (line) tellHelp(line, event.target);
  if (!line || line === current) return;
  current?.classList.remove("is-current");
  const left = current;
  current = line;
  line.classList.add("is-current");
  show(line, 0);
  if (left?.isConnected && unread.has(left)) readLeft(left);
});

form.addEventListener("input", (event) => {
  isChanged = true;
  const line = lineOf(event.target);
  if (line) {
    unread.add(line);
    show(line, PAUSE);
  } else if (event.target.name === "due" && lines) show(current || allLines()[0], PAUSE);
});

form.addEventListener("change", (event) => {
  const line = lineOf(event.target);
  if (line && short(line, event.target) === "kind") changeKind(line);
});

form.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (button?.matches("[data-add-line]")) {
    event.preventDefault();
    addLine();
  } else if (button?.matches("[data-remove-line]")) {
    event.preventDefault();
    isChanged = true;
    takeOut(lineOf(button));
  }
});

form.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || event.isComposing) return;
  if (event.ctrlKey || event.metaKey) {
    event.preventDefault();
    form.requestSubmit(form.querySelector("[data-save]"));
  } else if (event.target.matches("input, select") && !event.shiftKey) {
    event.preventDefault();
    moveOn(event.target);
  }
});

form.addEventListener("submit", (event) => {
  if (isSending) event.preventDefault();
  isSending = true;
});

addEventListener("pageshow", () => { isSending = false; });
addEventListener("beforeunload", (event) => {
  if (isChanged && !isSending) event.preventDefault();
});

for (const part of document.querySelectorAll("[data-needs-script]")) part.hidden = false;
if (document.querySelector("[data-focus]")) {
  document.querySelector("[data-focus]").focus();
  isChanged = true;
} else {
  fieldsIn(form)[0]?.focus();
}
if (lines) {
  const first = lines.querySelector(".is-wrong")?.closest("[data-line]") || allLines()[0];
  show(first, 0);
}
