/* The pattern desk draws while one types. Without this file the button Draw asks the server for the whole page. */

const desk = document.querySelector("[data-desk]");
const fields = desk.querySelector("[data-fields]");
const note = desk.querySelector("[data-note]");
const said = desk.querySelector("[data-said]");
const parts = [...desk.querySelectorAll("[data-part]")];
const PAUSE = 150; // ms after the last key
const AGAIN = 3000; // ms until the server is asked again
const OLD = "The drawing is the one before.";
const AWAY = "The server does not answer. What you typed is safe on this page; it is drawn as soon as it answers.";

let timer = 0;
let asked = 0;
let running = null;
let isDrawn = Boolean(desk.querySelector("[data-part=view] svg"));

/* What is typed, as the address keeps it: blank fields are left out. */
function query() {
  const typed = new URLSearchParams();
  for (const [name, value] of new FormData(fields)) if (value.trim()) typed.append(name, value);
  return typed;
}

function draw(pause = 0) {
  clearTimeout(timer);
  timer = setTimeout(ask, pause);
}

async function ask() {
  const own = ++asked;
  running?.abort();
  running = new AbortController();
  const typed = query();
  try {
    const answer = await fetch(`${desk.dataset.drawingUrl}?${typed}`, { signal: running.signal });
    if (answer.redirected || answer.status === 403) return location.assign(`?${typed}`); // signed out meanwhile
    if (!answer.ok) throw new Error(answer.status);
    const html = await answer.text();
    if (own === asked) show(html, typed);
  } catch (error) {
    if (error.name === "AbortError" || own !== asked) return;
    tell(AWAY, "offline");
    draw(AGAIN);
  }
}

function show(html, typed) {
  const holder = document.createElement("div");
  holder.innerHTML = html;
  const answer = holder.firstElementChild;
  const isGood = answer.dataset.answer === "drawn";
  showBeside(answer);
  if (isGood) {
    for (const part of parts) {
      part.replaceChildren(...answer.querySelector(`[data-part=${part.dataset.part}]`).childNodes);
    }
    isDrawn = true;
    said.textContent = desk.querySelector("[data-part=view] h2").textContent;
  }
  const wrong = answer.querySelector("[data-wrong] dd, [data-wrong-at-all] p");
  tell(isGood ? "" : `${wrong?.textContent ?? "Not drawn."}${isDrawn ? ` ${OLD}` : ""}`, "act");
  history.replaceState(null, "", `?${typed}`);
  document.title = `${isGood ? "" : "Error: "}Pattern desk`;
}

/* What was understood of each field, or is wrong with it, stands beside it. */
function showBeside(answer) {
  const [echoes, wrong] = ["echoes", "wrong"].map((name) =>
    new Map([...answer.querySelectorAll(`[data-${name}] dt`)].map((dt) => [dt.textContent, dt.nextElementSibling.textContent])));
  for (const field of fields.querySelectorAll("[data-field]")) {
    const sentence = wrong.get(field.dataset.field) || "";
    const input = field.querySelector("input, select");
    field.classList.toggle("is-wrong", Boolean(sentence));
    field.querySelector("[data-error]").textContent = sentence;
    const echo = field.querySelector("[data-echo]");
    if (echo) echo.textContent = echoes.get(field.dataset.field) || "";
    if (sentence) {
      input.setAttribute("aria-invalid", "true");
      const folded = field.closest("details");
      if (folded) folded.open = true;
    } else input.removeAttribute("aria-invalid");
  }
  fields.querySelector("[data-wrong-at-all]").replaceChildren(...answer.querySelector("[data-wrong-at-all]").childNodes);
}

function tell(sentence, shape) {
  note.hidden = !sentence;
  note.querySelector("[data-note-text]").textContent = sentence;
  if (shape) note.querySelector("use").setAttribute("href", `#mark-${shape}`);
  desk.classList.toggle("is-old", Boolean(sentence) && isDrawn);
  if (sentence) said.textContent = sentence;
}

fields.addEventListener("input", () => draw(PAUSE));
fields.addEventListener("submit", (event) => {
  event.preventDefault();
  draw();
});
fields.addEventListener("keydown", (event) => {
  if (event.key === "Enter" && event.target.matches("input") && !event.isComposing) {
    event.preventDefault();
    draw();
  }
});
addEventListener("online", () => { if (!note.hidden) draw(); });
for (const part of desk.querySelectorAll("[data-without-script]")) part.hidden = true;

/* The kinds are folded on a phone, where there is a way to unfold them, and always open where there is room. */
const kinds = document.querySelector("[data-kinds]");
const isNarrow = matchMedia("(max-width: 61.99rem)");
const fold = () => { kinds.open = !isNarrow.matches; };
isNarrow.addEventListener("change", fold);
fold();
