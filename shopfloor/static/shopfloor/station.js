// The station's page: scan a badge, scan a piece. Everything else here is for the exceptions.

import { get } from "./ask.js";
import { readCode } from "./codes.js";
import { isDue, showDaily } from "./daily.js";
import { prepareDown } from "./down.js";
import { IDLE_MINUTES, WARNING_MINUTES, wasLeftAlone, watchIdle } from "./idle.js";
import { say, speak, spoken } from "./language.js";
import { isAlready, NotKept, Outbox } from "./outbox.js";
import { lastStarted, lastToUndo } from "./own_scans.js";
import { prepareCount } from "./count.js";
import { preparePad } from "./pad.js";
import { chosenIn, offerHolds, offerScraps, reasonSaid } from "./reasons.js";
import { ownReport } from "./report.js";
import { hasNewer, keepPage, reloadOnce } from "./release.js";
import { Scanner } from "./scanner.js";
import { ACTION_WORDS, elsewhereWords, refusedRows, troubleWords, unsentRows, unsentWords } from "./sending.js";
import * as show from "./show.js";
import * as sound from "./sound.js";
import { isSheet, nameOf, pagesOf, sheetAtHand, sheetEntry, sheetInFull } from "./station_sheets.js";
import { fact, setFact } from "./store.js";
import { isTwice } from "./twice.js";
import { listenForWedge } from "./wedge.js";

const POLL_MS = 15_000;
const OFFLINE_WORDS_AFTER_MS = 1_000;
const BADGE_KEY = "badge";
const MOST_NUMBERS = 40;
const AHEAD_MS = 2_000;

const page = document.getElementById("station");
const at = (id) => document.getElementById(id);
const bars = { status: at("result-status"), alert: at("result-alert") };
const cookie = (name) => document.cookie.match(new RegExp(`(?:^|; )${name}=([^;]*)`))?.[1] ?? "";
const csrf = () => cookie("csrftoken") || document.querySelector("meta[name=csrf-token]").content;

let data = JSON.parse(at("station-data").textContent);
let badge = null;
let piece = null;
let pieceCode = "";
let part = 0;
let numbers = new Map();
let shown = { id: "", what: "", code: "" };
let listed = [];
let isStopped = false;
let markedAt = -Infinity; // when a scan was last shown that the server may not know
let line = Promise.resolve();

const outbox = new Outbox({ url: page.dataset.scansUrl, station: data.station, csrf });
const scanner = new Scanner({
  decoderUrl: page.dataset.decoder,
  wasmUrl: page.dataset.wasm,
  video: at("camera-video"),
  tell: (sentence) => (at("camera-says").textContent = sentence),
});

// -- what is seen ------------------------------------------------------------

function tell(result, sentence, { tag = "", id = "", code = "" } = {}) {
  shown = { id, what: tag, code };
  show.showResult(bars, { result: result === "idle" && data.down ? "down" : result, tag, sentence });
  if (result !== "idle") sound.play(result === "failed" ? "refused" : result);
}

function showBadge({ isLeaving = false } = {}) {
  const leaving = () => say("{name} goes out in {n} min. Touch to stay.", { name: badge.name, n: WARNING_MINUTES });
  at("badge-name").textContent = !badge ? say("Scan your badge") : isLeaving ? leaving() : badge.name;
  at("badge").dataset.is = !badge ? "out" : isLeaving ? "leaving" : "in";
}

const sheets = () => data.sheets ?? []; // what an older page has kept knows no sheets
const badgeOf = (code) => data.badges.find((one) => one.code === code);
const entryOf = (code) => [...sheets(), ...data.queue].find((entry) => entry.code === code);

const knownOf = (code) => spoken(piece?.code === code || (piece && pieceCode === code) ? piece : entryOf(code));
const titleOf = (code) => knownOf(code)?.title ?? "";

const cautionsHere = () => spoken(piece)?.cautions ?? spoken(data).cautions;
const showSound = () => (at("sound").textContent = sound.isOn() ? say("Sound on") : say("Sound off"));

// The page in the language of the badge that is in; without one in the shop's.
function speakTo(person) {
  if (!speak(person?.language ?? page.dataset.language)) return;
  for (const draw of [showSound, countPad.draw, showQueue, showPiece, showSending]) draw();
}

function showQueue() {
  const pages = pagesOf(sheets(), data.queue, Number(page.dataset.rows));
  part %= pages.length;
  const rows = (entries, draw) => entries.map((entry) => draw(entry, entry.code === pieceCode));
  at("sheets").replaceChildren(...rows(pages[part].sheets, sheetEntry));
  at("queue").replaceChildren(...rows(pages[part].queue, show.queueEntry));
  at("sheets-part").hidden = pages[part].sheets.length === 0;
  const further = data.sheets_more ?? 0;
  at("sheets-title").textContent = further ? say("Sheets to cut: {n}", { n: sheets().length + further }) : say("Sheets to cut");
  at("queue-part").hidden = pages[part].queue.length === 0 && sheets().length > 0;
  at("queue-empty").hidden = data.queue.length + sheets().length > 0;
  at("hold-back-words").textContent = (data.hold_back ?? []).map((one) => spoken(one).words).join(" ");
  at("hold-back").hidden = !data.hold_back?.length;
  down.draw(data);
  const after = pages.slice(part + 1).reduce((sum, one) => sum + one.sheets.length + one.queue.length, 0);
  at("queue-more").hidden = pages.length < 2;
  at("queue-more").textContent = !after ? say("Back to the first") : further ? say("Show more") : say("{n} more", { n: after });
}

function showPiece() {
  const entry = entryOf(pieceCode);
  const drawn = (one) => (isSheet(one) ? sheetAtHand(one) : show.piece({ ...one, reason: reasonSaid(one.reason, spoken(data).reasons) }));
  at("piece").replaceChildren(...(piece ? drawn(piece) : isSheet(entry) ? sheetAtHand(entry) : entry ? show.pieceOf(entry) : []));
  at("piece-empty").hidden = Boolean(piece || pieceCode);
  at("piece-loading").hidden = Boolean(piece) || !pieceCode;
  const whole = isSheet(piece ?? entry);
  at("scrap-open").textContent = whole ? say("Scrap the sheet…") : say("Scrap the piece…");
  at("scrap-title").textContent = whole ? say("Scrap the whole sheet? All its pieces will be made again.") : say("Scrap this piece? It will be made again.");
  at("sheet-open").hidden = !piece?.pieces;
  const isHeld = piece?.state === "held";
  at("act-hold").hidden = isHeld;
  at("act-resume").hidden = !isHeld;
  const cautions = cautionsHere();
  at("cautions-open").hidden = cautions.length === 0;
  at("cautions-count").textContent = cautions.length ? `${cautions[0].word}: ${cautions[0].hazard}` : "";
  at("cautions-rest").textContent = cautions.length > 1 ? (piece?.pieces ? `+${cautions.length - 1}` : say("and {n} more", { n: cautions.length - 1 })) : "";
}

async function showSending() {
  const found = await outbox.status().catch(() => null);
  if (!found) {
    at("unsent-words").textContent = say("Not sent: not known");
    return stop();
  }
  const { unsent, elsewhere, refused } = found;
  const button = at("unsent");
  const isOff = outbox.link === "offline" || outbox.link === "locked";
  button.dataset.link = isOff ? "offline" : "sent";
  at("unsent-words").textContent = unsentWords(unsent, isOff);
  at("refused-words").textContent = refused.length ? say("{n} refused", { n: refused.length }) : "";
  button.classList.toggle("has-refused", refused.length > 0);
  const words = [troubleWords(isStopped ? "stopped" : outbox.link), elsewhereWords(elsewhere)].filter(Boolean).join(" ");
  at("link-words").textContent = words;
  at("link").hidden = !words;
  at("link-enrol").hidden = isStopped || outbox.link !== "locked";
  if (at("scans").open) listScans({ unsent, refused });
}

// Where the device keeps nothing, no scan is taken: it would be lost. The station goes on once a trial is kept again.
function stop() {
  isStopped = true;
  page.dataset.stopped = "yes";
  at("link-words").textContent = troubleWords("stopped");
  at("link").hidden = false;
}

async function resume() {
  try {
    await outbox.tryKeeping();
  } catch {
    return stop();
  }
  isStopped = false;
  delete page.dataset.stopped;
  await showSending();
}

function listScans({ unsent, refused }) {
  at("refused-list").replaceChildren(...refusedRows(refused));
  listed = refused.map(({ id }) => id);
  at("refused-part").hidden = refused.length === 0;
  at("unsent-list").replaceChildren(...unsentRows(unsent));
  at("unsent-none").hidden = unsent.length > 0;
}

// -- scans -------------------------------------------------------------------

function scanned(text) {
  touch();
  scanner.stop();
  for (const dialog of document.querySelectorAll("dialog[open]")) dialog.close();
  const { code, wrong } = readCode(text);
  if (wrong) return tell("refused", wrong);
  if (badgeOf(code)) return signIn(badgeOf(code));
  if (!badge) {
    choose(code);
    tell("refused", say("Scan your badge first, then the piece."));
    return refresh().then(() => !badge && badgeOf(code) && signIn(badgeOf(code))); // it may be a new one
  }
  return scanPiece(code);
}

function signIn(person) {
  if (badge?.code !== person.code) countPad.drop();
  badge = person;
  try {
    localStorage.setItem(BADGE_KEY, JSON.stringify(person));
  } catch {
    // signed in until the page is loaded again
  }
  speakTo(person);
  showBadge();
  showDaily(at("daily"), isDue(data.station, person.code) ? cautionsHere() : []);
  tell("idle", say("{name} scans here now. Scan a piece.", person), { tag: data.station });
}

function leave() {
  const { name } = badge;
  badge = null;
  countPad.drop();
  try {
    localStorage.removeItem(BADGE_KEY);
  } catch {
    // it goes by the time of the last touch
  }
  scanner.stop();
  for (const dialog of document.querySelectorAll("dialog[open]")) dialog.close();
  showDaily(at("daily"), []);
  speakTo(null);
  showBadge();
  tell("idle", say("{name} is out after {n} minutes. Scan your badge.", { name, n: IDLE_MINUTES }), { tag: data.station });
  if (hasNewer()) location.reload();
}

// Scans and touches are kept one after another, each under the badge that was in when it was made.
function inLine(work) {
  line = line.then(work, work);
  return line;
}

function scanPiece(code) {
  const key = `scan ${code}`;
  if (isTwice(key)) return;
  const by = badge;
  choose(code);
  return inLine(async () => {
    const action = data.one_scan_finishes ? "finish" : (await isStarted(code)) ? "finish" : "start";
    await act(action, code, by);
  });
}

// Whether a piece is started here, as far as this tablet knows: by its queue, by the piece shown, by its own scans.
async function isStarted(code) {
  const isLast = await lastStarted(code);
  if (isLast !== null) return isLast;
  const state = entryOf(code)?.state;
  return state === "running" || (piece?.code === code && piece.state === "running");
}

function pressed(action, { reason = "" } = {}) {
  if (!badge) return tell("refused", say("Scan your badge first."));
  if (!pieceCode) return tell("refused", say("Scan a piece first, or tap one of the list."));
  if (isTwice(`${action} ${pieceCode}`)) return;
  const [code, by] = [pieceCode, badge];
  return inLine(async () => {
    const undoes = action === "undo" ? await lastToUndo(code) : "";
    await act(action, code, by, { reason, undoes });
  });
}

async function act(action, code, by, { reason = "", undoes = "" } = {}) {
  const known = knownOf(code);
  const tag = titleOf(code);
  try {
    if (isStopped) throw new NotKept("stopped");
    const count = ["start", "finish"].includes(action) ? countPad.take() : null;
    const kept = await outbox.keep({ code, action, badge: by.code, reason, undoes, count });
    const name = nameOf(known) ?? say("Code {code}", { code: show.code(code).textContent });
    const words = say("{piece}: {done}.", { piece: name, done: say(ACTION_WORDS[action]) });
    if (shown.id !== kept.id) tell("kept", words, { tag, id: kept.id });
    setTimeout(() => {
      if (shown.id === kept.id && bars.status.dataset.moment === "kept") show.showResult(bars, { result: "waiting", tag, sentence: words });
    }, OFFLINE_WORDS_AFTER_MS);
    markedAt = Date.now();
    markLocally(kept.body);
    showQueue();
    showPiece();
  } catch (error) {
    if (!(error instanceof NotKept)) throw error;
    stop();
    tell("failed", say("This tablet could not keep the scan. It is not recorded. Write it down and tell the supervisor."), { tag });
  }
}

// The list and the piece follow at once, before the server says so. Of a part of a lot the rest stays listed.
function markLocally({ code, action, reason, count }) {
  if (count) return;
  const state = { start: "running", finish: "done", hold: "held", resume: "ready" }[action];
  const entry = entryOf(code);
  if (entry && action === "finish") {
    data.queue = data.queue.filter((one) => one !== entry);
    data.sheets = sheets().filter((one) => one !== entry);
  }
  if (entry && action === "start") Object.assign(entry, { state, why: "Started here" });
  if (piece?.code === code && state) piece = { ...piece, state, reason };
}

outbox.addEventListener("result", ({ detail: { id, body, final, result } }) => {
  const isLast = shown.id === id;
  if (isLast) {
    const already = final === "refused" && isAlready(result);
    tell(already ? "already" : final, result.message, { tag: shown.what || titleOf(body.code), id, code: body.code });
  }
  refreshSoon();
});
outbox.addEventListener("change", showSending);
outbox.addEventListener("link", ({ detail: { link } }) => {
  showSending();
  if (link === "locked") refreshSoon();
});

// -- the piece at hand ----------------------------------------------------------

function choose(code) {
  showDaily(at("daily"), []);
  pieceCode = code;
  piece = numbers.get(code) ?? null;
  at("piece-loading").textContent = "";
  showPiece();
  showQueue();
  loadPiece(code);
}

async function loadPiece(code) {
  const found = await get(page.dataset.pieceUrl.replace("CODE", encodeURIComponent(code)));
  if (found) numbers.set(code, found);
  if (code !== pieceCode) return;
  if (found) piece = found;
  if (shown.code === code && !shown.what) {
    shown.what = titleOf(code);
    show.tagResult(bars, shown.what);
  }
  at("piece-loading").textContent = piece ? "" : say("The numbers of this piece are not here now. Scanning goes on.");
  showPiece();
}

// The numbers of what is next are fetched ahead, so that they are here without the network.
async function fetchAhead() {
  for (const { code } of [...sheets(), ...data.queue]) {
    if (numbers.has(code)) continue;
    if ((await outbox.status().catch(() => ({ unsent: [] }))).unsent.length) return;
    const found = await get(page.dataset.pieceUrl.replace("CODE", encodeURIComponent(code)));
    if (!found) return;
    numbers.set(code, found);
  }
  const wanted = new Set([...[...sheets(), ...data.queue].map((entry) => entry.code), pieceCode]);
  for (const code of numbers.keys()) if (numbers.size > MOST_NUMBERS && !wanted.has(code)) numbers.delete(code);
  await setFact("numbers", { station: data.station, pieces: [...numbers] }).catch(() => {});
}

let refreshing = null;
function refreshSoon() {
  refreshing ??= setTimeout(() => {
    refreshing = null;
    refresh();
    if (pieceCode) loadPiece(pieceCode);
  }, 150);
}

let asks = 0;
let answered = 0;

async function refresh() {
  const turn = ++asks;
  const askedAt = Date.now();
  const wasLocked = outbox.link === "locked"; // an answer from before the key was refused says nothing about it
  const fresh = await get(page.dataset.queueUrl, await ownReport());
  const { unsent } = await outbox.status().catch(() => ({ unsent: [] }));
  if (!fresh || fresh.station !== data.station || turn < answered) return;
  answered = turn;
  if (askedAt <= markedAt) return refreshSoon(); // it does not know what was scanned since
  data = fresh;
  for (const { body } of unsent) markLocally(body);
  showQueue();
  showPiece();
  await outbox.noteEpoch(fresh.epoch, askedAt).catch(() => {});
  await setFact("data", fresh).catch(() => {});
  fetchAhead();
  if (unsent.length === 0) outbox.link = "sent";
  else if (wasLocked && outbox.link === "locked") reloadOnce();
  else if (outbox.link === "offline") outbox.wake();
  showSending();
}

// -- touch ------------------------------------------------------------------------

function openDialog(id) {
  at(id).showModal();
}

const pad = preparePad(at("pad"), { mark: data.mark, entered: scanned });
const countPad = prepareCount(at("count"), at("count-open"), (number) => {
  tell("idle", say("Count {n}. Scan the traveler now.", { n: number }), { tag: data.station });
});
const down = prepareDown({
  at,
  urls: { down: page.dataset.downUrl, up: page.dataset.upUrl },
  csrf,
  who: () => badge,
  tell: (result, sentence) => tell(result, sentence, { tag: data.station }),
  refresh: () => refresh(),
});
const TAPS = {
  down: down.tap,
  "down-sure": down.sure,
  start: () => pressed("start"),
  finish: () => pressed("finish"),
  resume: () => pressed("resume"),
  undo: () => pressed("undo"),
  hold: () => {
    if (!pieceCode) return tell("refused", say("Scan a piece first, or tap one of the list."));
    offerHolds(at("hold-reasons"), spoken(data).reasons?.hold);
    openDialog("hold");
  },
  scrap: () => {
    offerScraps(at("scrap-reasons"), spoken(data).reasons?.scrap, at("scrap-sure"));
    openDialog("scrap");
  },
  "scrap-sure": () => pressed("scrap", { reason: chosenIn(at("scrap-reasons")) }),
  count: () => countPad.open(),
  pad: () => pad.open(),
  camera: useCamera,
  cautions: () => {
    at("cautions-list").replaceChildren(...cautionsHere().map(show.caution));
    openDialog("cautions");
  },
  sheet: () => {
    const { name, metal } = spoken(piece);
    at("sheet-title").textContent = `${name}, ${metal}`;
    at("sheet-full").replaceChildren(...sheetInFull(piece));
    openDialog("sheet");
  },
  scans: () => {
    openDialog("scans");
    showSending();
  },
  seen: () => outbox.acknowledge(listed),
  sound: async () => {
    await sound.turn(!sound.isOn());
    showSound();
    at("sound").setAttribute("aria-pressed", String(sound.isOn()));
  },
  more: () => {
    part += 1;
    showQueue();
  },
};

const touch = watchIdle({
  isIn: () => Boolean(badge),
  warn: () => showBadge({ isLeaving: true }),
  stay: () => showBadge(),
  leave,
});

async function useCamera() {
  openDialog("camera");
  const text = await scanner.look();
  if (text) scanned(text);
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const { tap, reason, code } = button.dataset;
  if ("close" in button.dataset) button.closest("dialog").close();
  if (code) choose(code);
  if (reason) pressed("hold", { reason });
  if (tap) TAPS[tap]();
});
at("camera").addEventListener("close", () => scanner.stop());
at("photo").addEventListener("change", async ({ target }) => {
  const text = target.files.length ? await scanner.readPhoto(target.files[0]) : null;
  target.value = "";
  if (text) scanned(text);
});
listenForWedge(scanned);
addEventListener("store-changed", () => location.reload());

// -- begin --------------------------------------------------------------------------

async function begin() {
  try {
    const kept = JSON.parse(localStorage.getItem(BADGE_KEY));
    badge = kept && !wasLeftAlone ? (badgeOf(kept.code) ?? null) : null;
  } catch {
    badge = null;
  }
  const ahead = await fact("numbers").catch(() => null);
  numbers = new Map(ahead?.station === data.station ? ahead.pieces : []);
  const last = await fact("data").catch(() => null);
  if (last?.station === data.station && last.as_of > data.as_of) data = last;
  speakTo(badge);
  showBadge();
  showQueue();
  showPiece();
  tell("idle", badge ? say("Scan a piece.") : say("Scan your badge, then a piece."), { tag: data.station });
  await resume();
  if (isStopped) tell("failed", say("This tablet cannot keep scans. Do not scan here; tell the supervisor."));
  await outbox.noteEpoch(data.epoch).catch(() => {});
  outbox.wake();
  refresh();
  setTimeout(fetchAhead, AHEAD_MS);
  setInterval(refresh, POLL_MS);
  setInterval(() => (isStopped ? resume() : showSending()), POLL_MS);
  setInterval(() => down.draw(data), POLL_MS); // it may be late by now, without the network too
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && refresh());
  keepPage(page.dataset.worker);
  page.dataset.ready = "yes";
}

begin();
