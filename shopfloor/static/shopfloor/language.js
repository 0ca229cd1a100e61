// What the page says, in the language of the badge that is in. English stands in the code; the other languages' words come
// with the page, so that they are here without the network. Data from the server has its English words, and others under "in".

const ENGLISH = "en";
const known = JSON.parse(document.getElementById("station-words")?.textContent ?? "{}");
let language = ENGLISH;

const filled = (text, values) => text.replace(/\{(\w+)\}/g, (place, name) => values[name] ?? place);

// A text that is said later: marked here for translation.
export const marked = (text) => text;

export function say(text, values = {}) {
  return filled(known[language]?.[text] ?? text, values);
}

// A text that counts: its place is {n}.
export function sayCount(one, many, n, values = {}) {
  const forms = known[language]?.[one] ?? [one, many];
  return filled(n === 1 ? forms[0] : forms.at(-1), { n, ...values });
}

// An entry or a piece with its words in the language in use.
export const spoken = (data) => data && { ...data, ...data.in?.[language] };

// Speak another language: what the page's own markup says changes at once. Returns whether it is another one.
export function speak(wanted) {
  const next = wanted in known ? wanted : ENGLISH;
  const isOther = next !== language;
  language = next;
  document.documentElement.lang = language;
  for (const one of document.querySelectorAll("[data-say]")) {
    one.dataset.say ||= one.textContent.trim();
    one.textContent = say(one.dataset.say);
  }
  for (const one of document.querySelectorAll("[data-say-label]")) {
    one.dataset.sayLabel ||= one.getAttribute("aria-label");
    one.setAttribute("aria-label", say(one.dataset.sayLabel));
  }
  return isOther;
}
