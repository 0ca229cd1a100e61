// Sheets of cut plans on the station's page: in the list before the loose pieces, and the sheet at hand.

import { marked, say, spoken } from "./language.js";
import { code, element, number, state, whyMark } from "./show.js";

export const isSheet = (data) => data?.kind === "sheet";

// What a sheet or a piece is called in a sentence.
export const nameOf = (data) => data?.name ?? data?.piece;

function drawing(svg, className) {
  const box = element("span", { className: `drawing ${className}` });
  box.innerHTML = svg;
  return box;
}

const WORDS = { done: marked("Cut"), held: marked("On hold"), running: marked("Started here"), ready: marked("To cut") };

function stateOf(data) {
  if (!data.operation) return element("span", { text: say("Not here: {where}", data) });
  return state(data.state, say(WORDS[data.state] ?? data.state));
}

// A row of the list: what to lay on the table, and how much comes off it.
export function sheetEntry(given, isChosen) {
  const entry = spoken(given);
  const button = element(
    "button",
    { className: "next", type: "button", data: { code: entry.code }, "aria-pressed": String(isChosen) },
    drawing(entry.icon, "drawing-thumb"),
    element(
      "span",
      { className: "next-what" },
      element("span", { className: "next-title" }, element("strong", { text: entry.title }), ` ${entry.order}`),
      element("span", { className: "next-end", text: entry.due }),
      element("span", { className: "next-wide", text: entry.size }),
      element("span", { text: entry.piece }),
      element("span", { className: "next-end" }, whyMark(entry)),
    ),
  );
  return element("li", {}, button);
}

// The sheet at hand. Without its picture: what the list alone tells of it.
export function sheetAtHand(given) {
  const data = spoken(given);
  const head = element(
    "header",
    { className: "piece-head" },
    element("h2", { className: "piece-title" }, element("span", { text: data.title }), element("span", { className: "piece-part", text: data.order })),
    element("p", { className: "piece-facts" }, code(data.code), element("span", { text: data.metal ?? data.size }), stateOf(data)),
  );
  if (!data.pieces) return [head];
  return [head, drawing(data.drawing, "sheet-picture"), element("dl", { className: "numbers sheet-numbers" }, ...data.numbers.map(number))];
}

// The large picture, and the pieces as they come off the table, the front first.
export function sheetInFull(given) {
  const data = spoken(given);
  const rows = data.pieces.map((one) =>
    element(
      "li",
      { data: { state: one.state } },
      element("strong", { className: "sheet-feed", text: String(one.feed) }),
      element("span", { className: "sheet-label" }, element("strong", { text: one.label }), ` ${[one.tag, say("order {order}", one), say("fitting {fitting}", one)].filter(Boolean).join(", ")}`),
      code(one.code),
      state(one.state, one.word),
    ),
  );
  return [drawing(data.picture, "sheet-large"), element("h3", { text: say("Pieces, the front of the table first") }), element("ol", { className: "sheet-pieces" }, ...rows)];
}

// What is seen of the lists at once: pages of so many rows, sheets first. A second heading takes the place of a row.
export function pagesOf(sheets, queue, rows) {
  const pages = [];
  for (const entry of [...sheets, ...queue]) {
    const last = pages.at(-1);
    const kind = isSheet(entry) ? "sheets" : "queue";
    const costs = 1 + (last && last.rows > 0 && last[kind].length === 0 ? 1 : 0);
    if (!last || last.rows + costs > rows) pages.push({ sheets: [], queue: [], rows: 0 });
    const page = pages.at(-1);
    page.rows += page === last ? costs : 1;
    page[kind].push(entry);
  }
  return pages.length ? pages : [{ sheets: [], queue: [], rows: 0 }];
}
