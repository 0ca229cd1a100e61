// The station's page: scan a badge, scan a piece. Everything else here is for the exceptions.

import { readCode } from "./codes.js";
import { NotKept, Outbox } from "./outbox.js";
import { preparePad } from "./pad.js";
import { Scanner } from "./scanner.js";
import * as show from "./show.js";
import * as sound from "./sound.js";
import { fact, scansOf, setFact } from "./store.js";
import { listenForWedge } from "./wedge.js";

const TWICE_MS = 1_000;
const POLL_MS = 15_000;
const OFFLINE_WORDS_AFTER_MS = 1_000;
const PIECE_PATIENCE_MS = 8_000;
const BADGE_KEY = "badge";
const MOST_NUMBERS = 40;
const AHEAD_MS = 2_000;
const RELOAD_MS = 300_000;

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
let lastAct = { key: "", at: -Infinity };
let shown = { id: "", what: "" };

const outbox = new Outbox({ url: page.dataset.scansUrl, station: data.station, csrf });
const scanner = new Scanner({
  decoderUrl: page.dataset.decoder,
  wasmUrl: page.dataset.wasm,
  video: at("camera-video"),
  say: (sentence) => (at("camera-says").textContent = sentence),
});

// -- what is seen ------------------------------------------------------------

function tell(result, sentence, { tag = "", id = "" } = {}) {
  shown = { id, what: tag };
  show.showResult(bars, { result, tag, sentence });
  if (result !== "idle") sound.play(result === "failed" ? "refused" : result);
}

function showBadge() {
  at("badge-name").textContent = badge ? badge.name : "Scan your badge";
  at("badge").dataset.is = badge ? "in" : "out";
}

function showQueue() {
  const size = Number(page.dataset.rows);
  const parts = Math.max(1, Math.ceil(data.queue.length / size));
  part %= parts;
  const rows = data.queue.slice(part * size, (part + 1) * size);
  at("queue").replaceChildren(...rows.map((entry) => show.queueEntry(entry, entry.code === pieceCode)));
  at("queue-empty").hidden = data.queue.length > 0;
  at("queue-more").hidden = parts < 2;
  at("queue-more").textContent = part + 1 < parts ? `${data.queue.length - (part + 1) * size} more` : "Back to the first";
}

function showPiece() {
  const entry = data.queue.find((one) => one.code === pieceCode);
  at("piece").replaceChildren(...(piece ? show.piece(piece) : entry ? show.pieceOf(entry) : []));
  at("piece-empty").hidden = Boolean(piece || pieceCode);
  at("piece-loading").hidden = Boolean(piece) || !pieceCode;
  const isHeld = piece?.state === "held";
  at("act-hold").hidden = isHeld;
  at("act-resume").hidden = !isHeld;
  const cautions = piece?.cautions ?? data.cautions;
  at("cautions-open").hidden = cautions.length === 0;
  at("cautions-count").textContent = cautions.length ? `${cautions[0].word}: ${cautions[0].hazard}` : "";
  at("cautions-rest").textContent = cautions.length > 1 ? `and ${cautions.length - 1} more` : "";
}

async function showSending() {
  const { unsent, elsewhere, refused } = await outbox.status();
  const button = at("unsent");
  const count = unsent.length;
  const oldest = count ? show.ago(Math.min(...unsent.map((entry) => entry.kept_at))) : "";
  const isOff = outbox.link === "offline" || outbox.link === "locked";
  button.dataset.link = isOff ? "offline" : "sent";
  at("unsent-words").textContent = count ? `${count} not sent, oldest ${oldest}` : isOff ? "No connection, 0 not sent" : "All sent";
  at("refused-words").textContent = refused.length ? `${refused.length} refused` : "";
  button.classList.toggle("has-refused", refused.length > 0);
  const words = {
    locked: "This tablet may not send: it is no longer enrolled. Everything is kept. Ask the supervisor for a code.",
    store: "This tablet's store does not answer. Load the page again.",
  }[outbox.link];
  const other = elsewhere.length ? `${elsewhere.length === 1 ? "1 scan is" : `${elsewhere.length} scans are`} kept for ${elsewhere[0].station}. Enroll this tablet there to send.` : "";
  at("link-words").textContent = [words, other].filter(Boolean).join(" ");
  at("link").hidden = !(words || other);
  at("link-enrol").hidden = outbox.link !== "locked";
  if (at("scans").open) listScans({ unsent, refused });
}

function listScans({ unsent, refused }) {
  const row = (entry, sentence, name) =>
    show.element("li", { data: { state: name } }, show.code(entry.body.code), show.element("span", { text: `${entry.body.action}, ${show.ago(entry.kept_at)}` }), show.element("strong", { text: sentence }));
  at("refused-list").replaceChildren(...refused.map((entry) => row(entry, entry.message, "refused")));
  at("refused-part").hidden = refused.length === 0;
  at("unsent-list").replaceChildren(...unsent.slice(0, 50).map((entry) => row(entry, entry.detail || "Kept here, not sent", "kept")));
  at("unsent-none").hidden = unsent.length > 0;
}

// -- scans -------------------------------------------------------------------

function scanned(text) {
  scanner.stop();
  for (const dialog of document.querySelectorAll("dialog[open]")) dialog.close();
  const { code, wrong } = readCode(text);
  if (wrong) return tell("refused", wrong);
  const known = data.badges.find((one) => one.code === code);
  if (known) return signIn(known);
  if (!badge) {
    choose(code);
    return tell("refused", "Scan your badge first, then the piece.");
  }
  return scanPiece(code);
}

function signIn(person) {
  badge = person;
  try {
    localStorage.setItem(BADGE_KEY, JSON.stringify(person));
  } catch {
    // signed in until the page is loaded again
  }
  showBadge();
  tell("idle", `${person.name} scans here now. Scan a piece.`, { tag: data.station });
}

async function scanPiece(code) {
  const key = `scan ${code}`;
  if (isTwice(key)) return;
  choose(code);
  const action = data.one_scan_finishes ? "finish" : (await isStarted(code)) ? "finish" : "start";
  await act(action, code);
}

// Whether a piece is started here, as far as this tablet knows: by its queue, by the piece shown, by its own scans.
async function isStarted(code) {
  const own = (await scansOf(code).catch(() => [])).filter(({ outcome }) => outcome !== "refused");
  const undone = new Set(own.map(({ body }) => body.undoes));
  const last = own.filter(({ id, body }) => ["start", "finish"].includes(body.action) && !undone.has(id)).at(-1);
  if (last) return last.body.action === "start";
  const state = data.queue.find((entry) => entry.code === code)?.state;
  return state === "running" || (piece?.code === code && piece.state === "running");
}

function isTwice(key) {
  const now = performance.now();
  const twice = lastAct.key === key && now - lastAct.at < TWICE_MS;
  if (!twice) lastAct = { key, at: now };
  return twice;
}

async function pressed(action, { reason = "" } = {}) {
  if (!badge) return tell("refused", "Scan your badge first.");
  if (!pieceCode) return tell("refused", "Scan a piece first, or tap one of the list.");
  if (isTwice(`${action} ${pieceCode}`)) return;
  const undoes = action === "undo" ? await lastToUndo(pieceCode) : "";
  await act(action, pieceCode, { reason, undoes });
}

async function lastToUndo(code) {
  const own = await scansOf(code).catch(() => []);
  const undone = new Set(own.filter(({ outcome }) => outcome !== "refused").map(({ body }) => body.undoes));
  const last = own.filter(({ id, outcome, body }) => body.action !== "undo" && outcome !== "refused" && !undone.has(id)).at(-1);
  return last?.id ?? "";
}

const ACTION_WORDS = { start: "started", finish: "done", hold: "on hold", resume: "goes on", scrap: "scrapped", undo: "undo" };

async function act(action, code, { reason = "", undoes = "" } = {}) {
  const entry = data.queue.find((one) => one.code === code);
  const known = piece?.code === code ? piece : entry;
  const tag = known?.title ?? "";
  try {
    const kept = await outbox.keep({ code, action, badge: badge.code, reason, undoes });
    const words = `${known?.piece ?? `Code ${show.code(code).textContent}`}: ${ACTION_WORDS[action]}.`;
    if (shown.id !== kept.id) tell("kept", words, { tag, id: kept.id });
    setTimeout(() => {
      if (shown.id === kept.id && bars.status.dataset.moment === "kept") show.showResult(bars, { result: "waiting", tag, sentence: words });
    }, OFFLINE_WORDS_AFTER_MS);
    markLocally(code, action, reason);
  } catch (error) {
    if (!(error instanceof NotKept)) throw error;
    tell("failed", "This tablet could not keep the scan. It is not recorded. Write it down and tell the supervisor.", { tag });
  }
}

// The list and the piece follow at once, before the server says so.
function markLocally(code, action, reason) {
  const state = { start: "running", finish: "done", hold: "held", resume: "ready" }[action];
  const entry = data.queue.find((one) => one.code === code);
  if (entry && action === "finish") data.queue = data.queue.filter((one) => one !== entry);
  if (entry && action === "start") Object.assign(entry, { state, why: "Started here" });
  if (piece?.code === code && state) piece = { ...piece, state, reason };
  showQueue();
  showPiece();
}

outbox.addEventListener("result", ({ detail: { id, final, result } }) => {
  const isLast = shown.id === id;
  if (isLast) {
    const already = final === "refused" && result.reason_code.startsWith("already_");
    tell(already ? "already" : final, result.message, { tag: shown.what, id });
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
  at("piece-loading").textContent = piece ? "" : "The numbers of this piece are not here now. Scanning goes on.";
  showPiece();
}

// The numbers of what is next are fetched ahead, so that they are here without the network.
async function fetchAhead() {
  for (const { code } of data.queue) {
    if (numbers.has(code)) continue;
    if ((await outbox.status()).unsent.length) return;
    const found = await get(page.dataset.pieceUrl.replace("CODE", encodeURIComponent(code)));
    if (!found) return;
    numbers.set(code, found);
  }
  const wanted = new Set([...data.queue.map((entry) => entry.code), pieceCode]);
  for (const code of numbers.keys()) if (numbers.size > MOST_NUMBERS && !wanted.has(code)) numbers.delete(code);
  await setFact("numbers", [...numbers]).catch(() => {});
}

async function get(url) {
  const patience = new AbortController();
  const timer = setTimeout(() => patience.abort(), PIECE_PATIENCE_MS);
  try {
    const response = await fetch(url, { headers: { Accept: "application/json" }, signal: patience.signal, redirect: "error" });
    return response.ok ? await response.json() : null;
  } catch {
    return null;
  } finally {
    clearTimeout(timer);
  }
}

let refreshing = null;
function refreshSoon() {
  refreshing ??= setTimeout(() => {
    refreshing = null;
    refresh();
    if (pieceCode) loadPiece(pieceCode);
  }, 150);
}

async function refresh() {
  const fresh = await get(page.dataset.queueUrl);
  if (!fresh || fresh.station !== data.station) return;
  data = fresh;
  showQueue();
  showPiece();
  await outbox.noteEpoch(fresh.epoch).catch(() => {});
  await setFact("data", fresh).catch(() => {});
  fetchAhead();
  const { unsent } = await outbox.status();
  if (unsent.length === 0) outbox.link = "sent";
  else if (outbox.link === "locked") reloadOnce();
  else if (outbox.link === "offline") outbox.wake();
  showSending();
}

// The key is good and yet sending is refused: the page's CSRF token is gone. What is kept is on the device.
function reloadOnce() {
  const last = Number(sessionStorage.getItem("reloaded") ?? 0);
  if (Date.now() - last < RELOAD_MS) return;
  sessionStorage.setItem("reloaded", String(Date.now()));
  location.reload();
}

// -- touch ------------------------------------------------------------------------

function openDialog(id) {
  at(id).showModal();
}

const pad = preparePad(at("pad"), { mark: data.mark, entered: scanned });
const TAPS = {
  start: () => pressed("start"),
  finish: () => pressed("finish"),
  resume: () => pressed("resume"),
  undo: () => pressed("undo"),
  hold: () => (pieceCode ? openDialog("hold") : tell("refused", "Scan a piece first, or tap one of the list.")),
  scrap: () => openDialog("scrap"),
  "scrap-sure": () => pressed("scrap"),
  pad: () => pad.open(),
  camera: useCamera,
  cautions: () => {
    at("cautions-list").replaceChildren(...(piece?.cautions ?? data.cautions).map(show.caution));
    openDialog("cautions");
  },
  scans: () => {
    openDialog("scans");
    showSending();
  },
  seen: async () => outbox.acknowledge((await outbox.status()).refused.map(({ id }) => id)),
  sound: async () => {
    await sound.turn(!sound.isOn());
    at("sound").textContent = sound.isOn() ? "Sound on" : "Sound off";
    at("sound").setAttribute("aria-pressed", String(sound.isOn()));
  },
  more: () => {
    part += 1;
    showQueue();
  },
};

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

// -- begin --------------------------------------------------------------------------

async function begin() {
  try {
    const kept = JSON.parse(localStorage.getItem(BADGE_KEY));
    badge = kept && (data.badges.find((one) => one.code === kept.code) ?? null);
  } catch {
    badge = null;
  }
  numbers = new Map(await fact("numbers").catch(() => []));
  const last = await fact("data").catch(() => null);
  if (last?.station === data.station && last.as_of > data.as_of) data = last;
  showBadge();
  showQueue();
  showPiece();
  tell("idle", badge ? "Scan a piece." : "Scan your badge, then a piece.", { tag: data.station });
  await showSending().catch(() => tell("failed", "This tablet cannot keep scans. Do not scan here; tell the supervisor."));
  await outbox.noteEpoch(data.epoch).catch(() => {});
  outbox.wake();
  setTimeout(fetchAhead, AHEAD_MS);
  setInterval(refresh, POLL_MS);
  setInterval(showSending, POLL_MS);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && refresh());
  navigator.serviceWorker?.register(page.dataset.worker, { scope: "/station/" }).catch(() => {});
  page.dataset.ready = "yes";
}

begin();
