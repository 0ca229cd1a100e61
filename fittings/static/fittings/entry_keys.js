/* Order entry by keyboard: which field is next, and what the keys do. The page lists the keys in [data-entry-keys]. */

import {
  CARRIED, addLine, allLines, choose, chosen, fieldsIn, form, goBack, isBlank, kindOf, lineOf,
  meant, named, repeat, select, short, takeOut,
} from "./entry_lines.js";

const DITTO = '"';

/* Whether Enter stops at a field: what a line needs, and what the line of the same kind before it had typed.
   What is carried over is passed, once there is a line that it comes from. Tab goes to every field. */
function isStop(line, field, isFirst) {
  const name = short(line, field);
  if (isFirst || line.dataset.must.split(" ").includes(name)) return true;
  if (CARRIED.includes(name) || field.tagName === "SELECT" || field.type === "checkbox") return false;
  if (field.value.trim()) return true;
  const before = sameKindBefore(line);
  return before ? Boolean(named(before, name)?.value.trim()) : !field.placeholder;
}

function sameKindBefore(line) {
  for (let other = line.previousElementSibling; other; other = other.previousElementSibling) {
    if (kindOf(other) === kindOf(line)) return other;
  }
  return null;
}

function stopsOf(line) {
  const isFirst = line === allLines()[0];
  return fieldsIn(line).filter((field) => isStop(line, field, isFirst));
}

function moveOn(field) {
  const line = lineOf(field);
  const fields = fieldsIn(form);
  if (!line) return select(fields[fields.indexOf(field) + 1]);
  const isLast = line === allLines().at(-1);
  if (isLast && isBlank(line) && allLines().length > 1) return form.querySelector("[data-save]").focus();
  if (short(line, field) !== "tag") {
    const at = fields.indexOf(field);
    const next = stopsOf(line).find((stop) => fields.indexOf(stop) > at);
    if (next) return select(next);
  }
  const following = line.nextElementSibling;
  return following ? select(named(following, "quantity")) : addLine();
}

function moveBack(field) {
  const fields = fieldsIn(form);
  const at = fields.indexOf(field);
  const stops = allLines().flatMap(stopsOf);
  const before = fields.slice(0, at).reverse().find((other) => !lineOf(other) || stops.includes(other));
  if (before) select(before);
}

/* The same column of the line above or below; of another kind, the field at the same place. */
function moveAlong(field, step) {
  const line = lineOf(field);
  const other = step < 0 ? line.previousElementSibling : line.nextElementSibling;
  if (!other) return false;
  const there = fieldsIn(other);
  const same = named(other, short(line, field));
  const at = Math.min(fieldsIn(line).indexOf(field), there.length - 1);
  select(same && there.includes(same) ? same : there[at]);
  return true;
}

/* A ditto mark alone stands for what the line above has. */
function ditto(field) {
  const line = lineOf(field);
  if (!line?.previousElementSibling || field.value !== DITTO) return;
  const above = named(line.previousElementSibling, short(line, field));
  if (!above) return;
  field.value = above.value;
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

function chooseOn(line, step) {
  if (!chosen().length) choose(line, true);
  const block = chosen();
  const next = step < 0 ? block[0].previousElementSibling : block.at(-1).nextElementSibling;
  if (next) choose(next, true);
}

function onAlt(event, field, line) {
  const act = {
    z: goBack,
    f: () => form.querySelector("[data-favourite-name]")?.focus(),
  }[event.key.toLowerCase()];
  if (act) return act() ?? true;
  if (!line) return false;
  if (event.shiftKey && event.key.startsWith("Arrow")) return chooseOn(line, event.key === "ArrowUp" ? -1 : 1) ?? true;
  if (event.key === "Delete") return takeOut(meant(line), short(line, field)) ?? true;
  if (event.key === "Enter") return addLine(line) ?? true;
  return false;
}

function onCtrl(event, field, line) {
  if (event.key === "Enter") {
    form.requestSubmit(form.querySelector("[data-save]"));
    return true;
  }
  if (!line) return false;
  if (event.key.toLowerCase() === "d") return repeat(line) ?? true;
  if (event.key === "ArrowUp" || event.key === "ArrowDown") return moveAlong(field, event.key === "ArrowUp" ? -1 : 1) || true;
  return false;
}

function onPlain(event, field, line) {
  if (event.key === "Enter" && field.matches("input, select")) {
    ditto(field);
    if (event.shiftKey) moveBack(field);
    else moveOn(field);
    return true;
  }
  const isArrow = event.key === "ArrowUp" || event.key === "ArrowDown";
  if (isArrow && !event.shiftKey && line && field.matches("input:not([type=checkbox])")) {
    ditto(field);
    return moveAlong(field, event.key === "ArrowUp" ? -1 : 1);
  }
  if (event.key === "Escape" && chosen().length) {
    for (const one of chosen()) choose(one, false);
    return true;
  }
  return false;
}

export function startKeys() {
  form.addEventListener("keydown", (event) => {
    const field = event.target.isConnected ? event.target : document.activeElement;
    if (event.isComposing || !field.matches("input, select, textarea, button[data-line-number]")) return;
    if (field.matches("[data-favourite-part] *")) return;
    const line = lineOf(field);
    const handler = event.altKey ? onAlt : event.ctrlKey || event.metaKey ? onCtrl : onPlain;
    if (handler(event, field, line)) event.preventDefault();
  });
  form.addEventListener("change", (event) => {
    if (event.target.matches("[data-line] input")) ditto(event.target);
  });
  form.addEventListener("click", (event) => {
    const number = event.target.closest("[data-line-number]");
    if (!number) return;
    const line = lineOf(number);
    choose(line, !line.classList.contains("is-chosen"));
  });
}
