/* Favourites: a line kept under a name, and put on the order by typing its name. */

import { allLines, changed, form, insertLines, isBlank, lineOf, named, remember, say, select, short, takeAway } from "./entry_lines.js";

const part = form.querySelector("[data-favourite-part]");
const name = form.querySelector("[data-favourite-name]");
const list = document.getElementById("favourites");

let known = [];
let askedFor = null;
let loading = Promise.resolve();

/* Those of the customer that is typed. While they are asked for, whoever needs them waits for the same answer. */
function load() {
  const customer = form.elements.customer.value.trim();
  if (customer !== askedFor) {
    askedFor = customer;
    loading = askFor(customer);
  }
  return loading;
}

async function askFor(customer) {
  const answer = await fetch(`${form.dataset.favouritesUrl}?customer=${encodeURIComponent(customer)}`).catch(() => null);
  if (customer !== askedFor) return; // another customer was typed meanwhile
  if (!answer?.ok) {
    askedFor = null;
    return;
  }
  known = (await answer.json()).favourites;
  list.replaceChildren(...known.map((one) => {
    const option = document.createElement("option");
    option.value = one.name;
    return option;
  }));
}

function meant(text) {
  const typed = text.trim().toLowerCase();
  const begun = known.filter((one) => one.name.toLowerCase().startsWith(typed));
  return known.find((one) => one.name.toLowerCase() === typed) || (typed && begun.length === 1 ? begun[0] : null);
}

async function insert() {
  await load();
  const one = meant(name.value);
  if (!one) {
    return say(name.value.trim() ? `There is no favourite “${name.value.trim()}” for this customer or for all.` : "Type the name of a favourite.");
  }
  const last = allLines().at(-1);
  const isFree = isBlank(last);
  const system = named(last, "system").value;
  const [line] = insertLines([{ system, ...one.values }], last);
  if (!line) return undefined;
  if (isFree) last.remove();
  name.value = "";
  remember(`“${one.name}” is line ${allLines().indexOf(line) + 1}.`, () => {
    if (isFree) line.before(last);
    return isFree ? (line.remove(), last) : takeAway([line]);
  });
  changed();
  return select(named(line, "quantity"));
}

/* Keeping ----------------------------------------------------------------------------------------------------------- */

function askName(line) {
  const ask = document.getElementById("favourite-ask").content.cloneNode(true).firstElementChild;
  const field = ask.querySelector("input[type=text]");
  const customer = form.elements.customer.value.trim();
  const own = ask.querySelector("[data-own]");
  own.disabled = !customer;
  own.checked = false;
  ask.querySelector("[data-own-name]").textContent = customer || "this customer";
  const keep = () => keepLine(line, field.value, own.checked ? customer : "");
  ask.querySelector("[data-keep]").addEventListener("click", keep);
  ask.querySelector("[data-no]").addEventListener("click", () => { say(""); select(named(line, "quantity")); });
  ask.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target.matches("button")) return;
    event.preventDefault();
    event.stopPropagation();
    keep();
  });
  say(ask);
  form.querySelector("[data-line-status]").scrollIntoView({ block: "nearest" });
  field.focus();
}

async function keepLine(line, title, customer) {
  const data = new FormData();
  data.append("csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value);
  data.append("name", title);
  data.append("customer", customer);
  for (const field of line.querySelectorAll("input, select")) {
    if (field.type !== "checkbox" || field.checked) data.append(`line-${short(line, field)}`, field.value);
  }
  try {
    const answer = await fetch(form.dataset.keepUrl, { method: "POST", body: data, headers: { Accept: "application/json" } });
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.detail);
    say(`“${body.name}” is kept for ${body.customer || "all customers"}. Alt+F and its name put it on an order.`);
    askedFor = null;
    load();
    select(named(line, "quantity"));
  } catch (error) {
    document.querySelector("[data-ask-wrong]")?.replaceChildren(error.message);
  }
}

export function startFavourites() {
  if (!part) return;
  form.addEventListener("click", (event) => {
    if (event.target.closest("[data-keep-favourite]")) askName(lineOf(event.target));
    else if (event.target.closest("[data-insert-favourite]")) insert();
  });
  name.addEventListener("focus", load);
  name.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.ctrlKey) return;
    event.preventDefault();
    insert();
  });
  form.elements.customer.addEventListener("change", load);
  load();
}
