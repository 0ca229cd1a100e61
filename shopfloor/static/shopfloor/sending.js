// What the page says of sending: how much is unsent, what stands in its way, and the rows of this tablet's scans.

import { marked, say, sayCount } from "./language.js";
import * as show from "./show.js";

const LISTED = 50;

export const ACTION_WORDS = {
  start: marked("started"),
  finish: marked("done"),
  hold: marked("on hold"),
  resume: marked("goes on"),
  scrap: marked("scrapped"),
  undo: marked("undo"),
};

// Sentences for a way of sending that does not work; "stopped" is where the device keeps nothing.
const TROUBLES = {
  stopped: marked("This tablet cannot keep scans. Stop scanning here and tell the supervisor."),
  locked: marked("This tablet may not send: it is no longer enrolled. Everything is kept. Ask the supervisor for a code."),
  store: marked("This tablet's store does not answer. Load the page again."),
};

export const troubleWords = (link) => (link in TROUBLES ? say(TROUBLES[link]) : "");

export function unsentWords(unsent, isOff) {
  if (!unsent.length) return isOff ? say("No connection, 0 not sent") : say("All sent");
  const oldest = Math.min(...unsent.map((entry) => entry.kept_at));
  return say("{n} not sent, oldest {age}", { n: unsent.length, age: show.ago(oldest) });
}

// Scans that the device keeps for another station; empty where there are none.
export function elsewhereWords(elsewhere) {
  if (!elsewhere.length) return "";
  return sayCount(
    "{n} scan is kept for {station}. Enroll this tablet there to send.",
    "{n} scans are kept for {station}. Enroll this tablet there to send.",
    elsewhere.length,
    elsewhere[0],
  );
}

function row(entry, sentence, name) {
  const what = `${say(ACTION_WORDS[entry.body.action])}, ${show.ago(entry.kept_at)}`;
  return show.element("li", { data: { state: name } }, show.code(entry.body.code), show.element("span", { text: what }), show.element("strong", { text: sentence }));
}

const newestFirst = (entries) => [...entries].sort((one, other) => other.kept_at - one.kept_at);

export const refusedRows = (refused) => newestFirst(refused).map((entry) => row(entry, entry.message, "refused"));
export const unsentRows = (unsent) => unsent.slice(0, LISTED).map((entry) => row(entry, entry.detail || say("Kept here, not sent"), "kept"));
