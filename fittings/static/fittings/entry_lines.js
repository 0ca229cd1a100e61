/* The lines of an order on the page: found, filled, added, repeated, taken out, and the way back from each. */

export const form = document.getElementById("order-entry");
export const lines = form.querySelector("[data-lines]");
const status = form.querySelector("[data-line-status]");
const count = form.querySelector("[data-line-count]");
export const CARRIED = form.dataset.carried.split(" ");
const MOST_LINES = 500;
const MOST_STEPS = 50;

export const lineOf = (element) => element?.closest?.("[data-line]");
export const allLines = () => (lines ? [...lines.querySelectorAll("[data-line]")] : []);
export const named = (line, name) => line.querySelector(`[name="${line.dataset.line}-${name}"]`);
export const short = (line, field) => field.name.slice(line.dataset.line.length + 1);
const isSeen = (element) => element.getClientRects().length > 0;
export const fieldsIn = (part) => [...part.querySelectorAll("input:not([type=hidden]), select, textarea")].filter(isSeen);
export const numberOf = (line) => allLines().indexOf(line) + 1;
export const kindOf = (line) => named(line, "kind").value;

/* Something other than a key in a field changed the lines: who keeps and adds up must know. */
export function changed() {
  form.dispatchEvent(new CustomEvent("entrychange"));
}

export function select(field) {
  field.focus();
  if (field.select && field.type !== "checkbox") field.select();
}

export function say(...parts) {
  status.replaceChildren(...parts);
}

function numberLines() {
  allLines().forEach((line, at) => {
    const number = line.querySelector("[data-line-number]");
    number.textContent = at + 1;
    number.setAttribute("aria-label", `Choose line ${at + 1}`);
    line.setAttribute("aria-label", `Line ${at + 1}`);
  });
}

/* Values ------------------------------------------------------------------------------------------------------------ */

const isOffered = (field, value) => field.tagName !== "SELECT" || [...field.options].some((option) => option.value === value);

export function values(line) {
  const found = {};
  for (const field of line.querySelectorAll("input, select")) {
    found[short(line, field)] = field.type === "checkbox" ? (field.checked ? "on" : "") : field.value;
  }
  return found;
}

export function fill(line, given) {
  for (const [name, value] of Object.entries(given)) {
    const field = named(line, name);
    if (!field) continue;
    if (field.type === "checkbox") field.checked = !["", "0", "no", "false", "off"].includes(String(value).toLowerCase());
    else if (isOffered(field, value)) field.value = value;
  }
  const more = line.querySelector("details");
  if ([...more.querySelectorAll("input")].some((field) => (field.type === "checkbox" ? field.checked : field.value))) more.open = true;
}

export const isBlank = (line) => fieldsIn(line.querySelector(".line-fields"))
  .filter((field) => field.tagName === "INPUT" && field.type !== "checkbox" && !["gauge", "system"].includes(short(line, field)))
  .every((field) => !field.value.trim());

/* A line of another kind in the place of this one; what both have stays. */
export function setKind(line, kind) {
  const other = blankLine(kind, line.dataset.line.split("-")[1]);
  fill(other, { ...values(line), kind });
  other.querySelector("details").open = line.querySelector("details").open;
  line.replaceWith(other);
  numberLines();
  return other;
}

function blankLine(kind, at) {
  const template = document.querySelector(`template[data-kind="${kind}"]`) || document.querySelector("template[data-kind]");
  const holder = document.createElement("div");
  holder.innerHTML = template.innerHTML.replaceAll("__n__", at);
  return holder.querySelector("[data-line]");
}

function freshLine(kind) {
  const at = Number(count.value);
  count.value = at + 1;
  return blankLine(kind, at);
}

/* Adding ------------------------------------------------------------------------------------------------------------ */

/* Lines of these values below a line, or at the end. */
export function insertLines(many, after) {
  if (allLines().length + many.length > MOST_LINES) {
    say(`An order can have ${MOST_LINES} lines. Nothing was added.`);
    return [];
  }
  const made = many.map((given) => {
    const line = freshLine(given.kind);
    fill(line, given);
    return line;
  });
  if (after) after.after(...made);
  else lines.append(...made);
  numberLines();
  changed();
  return made;
}

/* A new line that carries over the metal, the ends and the system of the one before. */
export function addLine(after = allLines().at(-1)) {
  const before = after ? values(after) : {};
  const given = { kind: before.kind };
  for (const name of CARRIED) if (name in before) given[name] = before[name];
  const [line] = insertLines([given], after);
  if (line) select(named(line, "quantity"));
}

/* Chosen lines, or the one that has the focus. */
export const chosen = () => allLines().filter((line) => line.classList.contains("is-chosen"));
export const meant = (line) => (chosen().length ? chosen() : [line]);

export function choose(line, isChosen) {
  line.classList.toggle("is-chosen", isChosen);
  line.querySelector("[data-line-number]").setAttribute("aria-pressed", isChosen);
  const number = chosen().length;
  say(number ? `${number} ${number === 1 ? "line is" : "lines are"} chosen: repeat or take out works on all of them.` : "");
}

export function chooseNone() {
  for (const line of chosen()) choose(line, false);
}

/* Into a blank line what stands above it; else the line, or the chosen block, once more below. */
export function repeat(line) {
  const above = line.previousElementSibling;
  if (!chosen().length && above && isBlank(line)) {
    const before = values(line);
    const same = kindOf(above) === kindOf(line) ? line : setKind(line, kindOf(above));
    const given = values(above);
    fill(same, given);
    remember(`Line ${numberOf(same)} is as line ${numberOf(above)}.`, () => {
      const old = kindOf(same) === before.kind ? same : setKind(same, before.kind);
      fill(old, before);
      return old;
    });
    changed();
    return select(named(same, "quantity"));
  }
  const block = meant(line);
  const made = insertLines(block.map(values), block.at(-1));
  if (!made.length) return undefined;
  chooseNone();
  const text = made.length === 1 ? `Line ${numberOf(block[0])} is repeated as line ${numberOf(made[0])}.` : `${made.length} lines are repeated from line ${numberOf(made[0])} on.`;
  remember(text, () => takeAway(made));
  return select(named(made[0], "quantity"));
}

export function takeAway(many) {
  const next = many.at(-1).nextElementSibling || many[0].previousElementSibling;
  for (const line of many) line.remove();
  if (!allLines().length) addLine();
  numberLines();
  return next?.isConnected ? next : allLines().at(-1);
}

export function takeOut(many, name) {
  const places = many.map((line) => [line, line.nextElementSibling]);
  const text = many.length === 1 ? `Line ${numberOf(many[0])} was taken out.` : `${many.length} lines were taken out.`;
  chooseNone();
  const isAll = many.length === allLines().length;
  const stays = takeAway(many);
  const filler = isAll ? stays : null;
  remember(text, () => {
    for (const [line, next] of [...places].reverse()) lines.insertBefore(line, next?.isConnected ? next : null);
    if (filler?.isConnected && isBlank(filler)) filler.remove();
    numberLines();
    return many[0];
  }, "Put it back");
  changed();
  select(named(stays, name) || named(stays, "quantity"));
}

/* The way back ------------------------------------------------------------------------------------------------------ */

const steps = [];

/* Say what was done, with the way back; `undo` gives the line to go to. */
export function remember(text, undo, label = "Undo") {
  steps.push({ text, undo });
  if (steps.length > MOST_STEPS) steps.shift();
  const back = document.createElement("button");
  back.type = "button";
  back.className = "button button-small";
  back.textContent = label;
  back.addEventListener("click", goBack);
  const key = document.createElement("kbd");
  key.textContent = "Alt+Z";
  say(`${text} `, back, " ", key);
}

export function goBack() {
  const step = steps.pop();
  if (!step) return say("There is nothing to undo.");
  const line = step.undo();
  numberLines();
  changed();
  say(`Undone: ${step.text}`);
  if (line?.isConnected) select(named(line, "quantity"));
  return undefined;
}
