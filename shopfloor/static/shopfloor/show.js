// Drawing the station page: small functions from data to elements. No markup from data except our own server's drawings.

import { grouped } from "./codes.js";
import { marked, say, spoken } from "./language.js";

const WORDS = {
  idle: marked("Ready"),
  kept: marked("Kept here, sending"),
  waiting: marked("Kept here, not sent"),
  recorded: marked("Recorded"),
  already: marked("Already done"),
  refused: marked("Refused"),
  failed: marked("Not kept"),
  down: marked("Down"),
};
const SHAPES = { idle: "ready", waiting: "kept", failed: "refused", down: "act" };
const LOOKS = { waiting: "kept", failed: "refused", down: "idle" };

export function element(tag, { text, className, data, ...rest } = {}, ...children) {
  const made = document.createElement(tag);
  if (className) made.className = className;
  if (text !== undefined) made.textContent = text;
  Object.assign(made.dataset, data ?? {});
  for (const [name, value] of Object.entries(rest)) made.setAttribute(name, value);
  made.append(...children.filter(Boolean));
  return made;
}

export function mark(name, className = "state-shape") {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  svg.setAttribute("class", className);
  svg.setAttribute("viewBox", "0 0 24 24");
  svg.setAttribute("aria-hidden", "true");
  use.setAttribute("href", `#mark-${name}`);
  svg.append(use);
  return svg;
}

export function state(name, word) {
  return element("span", { className: "state", data: { state: name } }, mark(name), element("span", { className: "state-word", text: word }));
}

export function code(text, className = "") {
  const groups = grouped(text).split(" ").map((part) => element("span", { className: "code-group", text: part }));
  return element("span", { className: `code ${className}`.trim() }, ...groups);
}

function drawing(svg, className) {
  const box = element("span", { className: `drawing ${className}` });
  box.innerHTML = svg;
  return box;
}

// The result bar: two live regions, of which one is seen. `result` is a key of WORDS.
export function showResult(bars, { result, tag = "", sentence }) {
  const isAlert = result === "refused" || result === "failed";
  for (const [bar, isSeen] of [[bars.status, !isAlert], [bars.alert, isAlert]]) {
    bar.hidden = !isSeen;
    if (!isSeen) {
      bar.replaceChildren();
      continue;
    }
    bar.dataset.result = LOOKS[result] ?? result;
    bar.dataset.moment = result;
    bar.replaceChildren(
      mark(SHAPES[result] ?? result, "result-shape"),
      element("p", { className: "result-word" }, element("span", { text: say(WORDS[result]) }), tag && element("span", { className: "result-tag", text: tag })),
      element("p", { className: "result-sentence", text: sentence }),
    );
  }
}

// The tag of a piece that was not known when it was scanned.
export function tagResult(bars, tag) {
  const word = (bars.status.hidden ? bars.alert : bars.status).querySelector(".result-word");
  if (tag) word?.append(element("span", { className: "result-tag", text: tag }));
}

export function queueEntry(given, isChosen) {
  const entry = spoken(given);
  const button = element(
    "button",
    { className: "next", type: "button", data: { code: entry.code }, "aria-pressed": String(isChosen) },
    drawing(entry.icon, "drawing-thumb"),
    element("span", { className: "next-what" }, element("span", { className: "next-title" }, element("strong", { text: entry.title }), ` ${entry.order}`), element("span", { text: `${entry.piece}, ${entry.size}` })),
    element("span", { className: "next-when" }, element("span", { text: entry.due }), whyMark(entry)),
  );
  return element("li", {}, button);
}

// Why an entry is next. What was started here is so before the server says it.
export function whyMark(entry) {
  if (entry.state === "held") return state("held", entry.why);
  if (entry.state === "running") return state("running", say("Started here"));
  if (entry.is_pinned) return state("act", entry.why);
  if (entry.is_late) return state("late", entry.why);
  return element("span", { className: "soft", text: entry.why });
}

export function piece(given) {
  const data = spoken(given);
  const head = element(
    "header",
    { className: "piece-head" },
    element("h2", { className: "piece-title" }, element("span", { text: data.title }), element("span", { className: "piece-part", text: data.piece })),
    element("p", { text: data.fitting }),
    element("p", { className: "piece-facts" }, code(data.code), element("span", { text: data.metal }), stateOf(data)),
  );
  const numbers = element("dl", { className: "numbers" }, ...data.numbers.map(number));
  const picture = data.drawing ? drawing(data.drawing, "piece-pattern") : drawing(data.icon, "piece-icon");
  const lacks = data.not_ready && !data.kit?.is_short && element("p", { className: "piece-notice" }, mark("waiting"), data.not_ready);
  const beyond = data.beyond && element("p", { className: "piece-notice" }, mark("act"), data.beyond);
  return [head, beyond, lacks, data.kit && !(data.kit.is_short && data.state === "done") && kit(data.kit), element("div", { className: "piece-body" }, picture, numbers)].filter(Boolean);
}

export function number({ label, value, exact }) {
  return element(
    "div",
    { className: value.length > 14 ? "number-wide" : "" },
    element("dt", { text: label }),
    element("dd", {}, element("span", { className: "number", text: value }), exact && element("span", { className: "number-exact", text: `(${exact})` })),
  );
}

// What the list alone tells of a piece, while its numbers are on their way.
export function pieceOf(given) {
  const { in: _, ...entry } = spoken(given);
  return piece({ ...entry, fitting: entry.size, metal: entry.due, numbers: [], kit: null, drawing: "" });
}

const STATES = {
  done: marked("Done here"),
  running: marked("Started here"),
  ready: marked("Ready"),
  waiting: marked("Not ready yet"),
  void: marked("Void"),
};

function stateOf(data) {
  if (!data.operation) return element("span", { text: say("Not here: {where}", data) });
  if (data.state === "held") return state("held", data.reason ? say("On hold: {reason}", data) : say("On hold"));
  return state(data.state, say(STATES[data.state] ?? data.state));
}

// Of a kit that is short the pieces are named by the places where they are; of a whole one the number says it all.
function kit(data) {
  const words = element("p", {}, state(data.is_short ? "waiting" : "done", data.words));
  const places = new Map();
  for (const one of data.is_short ? data.pieces : []) {
    const where = one.is_here ? say("here") : one.where;
    places.set(where, [...(places.get(where) ?? []), one]);
  }
  const rows = [...places].map(([where, pieces]) =>
    element("li", { className: pieces[0].is_here ? "" : "kit-missing" }, element("strong", { text: pieces.map((one) => one.position).join(", ") }), ` ${where}`),
  );
  return element("div", { className: "kit" }, words, rows.length > 0 && element("ol", {}, ...rows));
}

export function caution({ grade, word, hazard, text }) {
  const box = element(
    "div",
    { className: "caution", role: "note", data: { word: grade ?? word } },
    element("p", { className: "caution-word" }, mark("hazard", ""), word),
    element("p", { className: "caution-text" }, element("strong", { text: `${hazard}.` }), ` ${text}`),
  );
  box.querySelector("svg").setAttribute("viewBox", "0 0 26 23");
  return box;
}

// How long ago, as people say it.
export function ago(at) {
  const minutes = Math.max(0, Math.round((Date.now() - at) / 60_000));
  if (minutes < 1) return say("just now");
  if (minutes < 120) return `${minutes} min`;
  const hours = Math.floor(minutes / 60);
  return hours < 24 ? `${hours} h ${minutes % 60} min` : `${Math.floor(hours / 24)} d ${hours % 24} h`;
}
