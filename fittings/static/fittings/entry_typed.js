/* What is typed is kept: on the server after each pause, and on this computer until the server has it.

   The page has a token and names the revision that it saw. Where another window went on with the same typing, the server
   refuses, and this page goes on under a token of its own. The address names the token, so that a reload shows it again. */

import { form } from "./entry_lines.js";

const PAUSE = 700; // ms after the last change
const RETRY = 5000;
const MOST_WAIT = 2000;
const NOT_KEPT = ["csrfmiddlewaretoken", "typed_token", "typed_revision", "act"];
const told = document.querySelector("[data-kept]");
const page = form.dataset.page;

let timer = 0;
let running = null;
let isOver = false;
let isUnkept = false;

const token = form.elements.typed_token;
const revision = form.elements.typed_revision;
const shelf = () => `typed ${form.dataset.who} ${token.value}`;

function freshToken() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

const fields = () => [...new FormData(form)].filter(([name, value]) => !NOT_KEPT.includes(name) && typeof value === "string");

function keepHere() {
  try {
    localStorage.setItem(shelf(), JSON.stringify({ revision: revision.value, fields: fields() }));
  } catch { /* full or forbidden: the server's copy is the first one */ }
}

function forgetHere() {
  try {
    localStorage.removeItem(shelf());
  } catch { /* as above */ }
}

function later(pause = PAUSE) {
  isUnkept = true;
  keepHere();
  clearTimeout(timer);
  timer = setTimeout(() => { running ||= keep().finally(() => { running = null; if (isUnkept && !isOver) later(); }); }, pause);
}

async function keep(isLast = false) {
  if (isOver) return;
  if (!token.value) token.value = freshToken();
  isUnkept = false;
  let answer;
  try {
    answer = await fetch(form.dataset.typedUrl, {
      method: "POST",
      keepalive: isLast,
      headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": form.elements.csrfmiddlewaretoken.value },
      body: JSON.stringify({ page, token: token.value, revision: Number(revision.value), fields: fields() }),
    });
  } catch {
    return notKept();
  }
  if (answer.status === 409) return goApart((await answer.json()).detail);
  if (!answer.ok) return notKept();
  const kept = await answer.json();
  revision.value = kept.revision;
  if (!isUnkept && !isLast) forgetHere(); // a page that was asked for before this answer shows what was before it
  const address = new URL(location.href);
  if (address.searchParams.get("typed") !== token.value) {
    address.searchParams.delete("copy");
    address.searchParams.set("typed", token.value);
    history.replaceState(history.state, "", address);
  }
  told.textContent = `Kept at ${kept.kept_at}`;
  return undefined;
}

function notKept() {
  told.textContent = "Kept on this computer only: the server did not take it. It is tried again.";
  isUnkept = true;
  keepHere();
  clearTimeout(timer);
  timer = setTimeout(() => later(0), RETRY);
}

function goApart(sentence) {
  forgetHere();
  token.value = freshToken();
  revision.value = 0;
  isUnkept = true;
  const notice = document.querySelector("[data-apart]");
  notice.hidden = false;
  notice.querySelector("[data-apart-text]").textContent = sentence;
}

/* What this computer kept and the server did not get: sent to it, and shown by the page anew. */
async function bringBack() {
  const asked = new URL(location.href).searchParams.get("typed");
  const name = `typed ${form.dataset.who} ${asked}`;
  let kept = null;
  try {
    kept = asked && JSON.parse(localStorage.getItem(name));
    if (kept) localStorage.removeItem(name);
  } catch { /* none */ }
  if (!kept) return;
  const body = JSON.stringify({ page, token: asked, revision: Number(kept.revision), fields: kept.fields });
  const headers = { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": form.elements.csrfmiddlewaretoken.value };
  const answer = await fetch(form.dataset.typedUrl, { method: "POST", headers, body }).catch(() => null);
  if (!answer) return localStorage.setItem(name, JSON.stringify(kept));
  if (answer.status === 409) { // another window went on: offered beside it
    await fetch(form.dataset.typedUrl, { method: "POST", headers, body: JSON.stringify({ page, token: freshToken(), revision: 0, fields: kept.fields }) });
  }
  isOver = true;
  return location.reload();
}

/* Before the form is sent: nothing may come after it that would keep what is saved. */
export async function settle() {
  clearTimeout(timer);
  await Promise.race([running, new Promise((resolve) => { setTimeout(resolve, MOST_WAIT); })]);
  clearTimeout(timer);
  isOver = true;
}

export const isKept = () => !isUnkept;

export function startTyped() {
  if (!form.dataset.typedUrl) return;
  if (!token.value) token.value = freshToken();
  form.addEventListener("input", () => later());
  form.addEventListener("change", () => later());
  form.addEventListener("entrychange", () => later());
  addEventListener("pageshow", () => { isOver = false; });
  addEventListener("pagehide", () => {
    if (isUnkept && !isOver) {
      keepHere();
      keep(true);
    }
  });
  bringBack();
}
