// The queue of scans: every scan is stored on the device first, then sent. One path, online or not.
//
// An entry leaves only when its own result came back. Network errors, 401, 403 and 5xx keep everything. One page sends at a
// time, on load, after each scan, when the network is back, when the page comes to the front, and by a timer. Tells what
// happens by events: "change" (how much is unsent), "result" (one scan's answer), "link" (how sending goes).

import { ownReport } from "./report.js";
import { asked, fact, nextNumber, within } from "./store.js";

const BATCH = 100;
const FIRST_BATCH = 8;
const LEAST_BATCH = 2;
const ANSWERED_WITHIN_MS = 400;
const PATIENCE_MS = 20_000;
const LEASE_MS = 30_000;
const FIRST_WAIT_MS = 1_000;
const LONGEST_WAIT_MS = 60_000;
const LONGEST_ASKED_MS = 5 * 60_000;
const ASIDE_MS = 10 * 60_000;
const ASIDE_OF_500_MS = 60_000;
const TRIES_OF_500 = 3;
const KEPT_DAYS = 30;
const DAY_MS = 86_400_000;
const ANSWERS = new Set(["recorded", "refused"]);

export class NotKept extends Error {}

// A random id in the form of a UUID; crypto.randomUUID is withheld on plain http.
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

// The device's own time with its offset: 2026-03-04T13:02:11.250-05:00
export function timeWithOffset(at = new Date()) {
  const two = (number) => String(Math.trunc(Math.abs(number))).padStart(2, "0");
  const offset = -at.getTimezoneOffset();
  const local = new Date(at.getTime() + offset * 60_000).toISOString().slice(0, -1);
  return `${local}${offset < 0 ? "-" : "+"}${two(offset / 60)}:${two(offset % 60)}`;
}

// A refusal that asks for nothing: what was scanned is done, started or on hold all the same.
export const isAlready = ({ reason_code = "" }) => reason_code.startsWith("already_");

export class Outbox extends EventTarget {
  constructor({ url, station, csrf }) {
    super();
    this.url = url;
    this.station = station;
    this.csrf = csrf;
    this.me = newId();
    this.failures = 0;
    this.size = FIRST_BATCH;
    this.broken = 0;
    this.notBefore = 0;
    this.link = "idle";
    this.timer = null;
    this.isSending = false;
    this.again = false;
    this.others = "BroadcastChannel" in window ? new BroadcastChannel("outbox") : null;
    if (this.others) this.others.onmessage = ({ data }) => this.#hear(data);
    addEventListener("online", () => {
      this.failures = 0;
      this.wake();
    });
    addEventListener("pageshow", ({ persisted }) => persisted && this.wake());
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.wake());
    setInterval(() => this.timer ?? this.wake(), LONGEST_WAIT_MS);
    navigator.storage?.persist?.().catch(() => {});
  }

  // Store a scan, then send it. Rejects with NotKept where the device could not store it.
  async keep({ code, action, badge, reason = "", undoes = "", count = null }) {
    const now = new Date();
    const id = newId();
    const body = { id, code, action, badge, reason, station: this.station, scanned_at: timeWithOffset(now) };
    if (undoes) body.undoes = undoes;
    if (count) body.count = count;
    const entry = { id, station: this.station, body, kept_at: now.getTime() };
    try {
      await within(["unsent", "facts"], "readwrite", async ({ unsent, facts }) => {
        body.number = await nextNumber(facts, newId);
        await asked(unsent.add(entry));
      });
    } catch (error) {
      throw new NotKept(String(error));
    }
    this.#tell("change");
    this.wake();
    return entry;
  }

  // Whether this device keeps a scan: one is stored and taken away again. Rejects where it does not.
  tryKeeping() {
    return within(["unsent"], "readwrite", async ({ unsent }) => {
      const place = await asked(unsent.add({ id: newId(), station: "", body: {} }));
      await asked(unsent.delete(place));
    });
  }

  // How much is unsent, since when, what was refused, and what belongs to another station.
  async status() {
    const [unsent, refused] = await within(["unsent", "refused"], "readonly", (stores) =>
      Promise.all([asked(stores.unsent.getAll()), asked(stores.refused.getAll())]),
    );
    const own = unsent.filter((entry) => entry.station === this.station);
    return { unsent: own, elsewhere: unsent.filter((entry) => entry.station !== this.station), refused };
  }

  async acknowledge(ids) {
    await within(["refused"], "readwrite", ({ refused }) => Promise.all(ids.map((id) => asked(refused.delete(id)))));
    this.#tell("change");
  }

  // On a new epoch the server has an older record: everything that it had is sent again, in its old order. An answer that
  // was asked for before the one that told the epoch known here is an old one, and tells nothing; neither does a page of
  // unknown age, unless none is known.
  async noteEpoch(epoch, askedAt = 0) {
    if ((await fact("epoch")) === epoch) return;
    const isNew = await within(["unsent", "sent", "facts"], "readwrite", async ({ unsent, sent, facts }) => {
      const known = await asked(facts.get("epoch"));
      const knownSince = await asked(facts.get("epoch_asked_at"));
      const isOld = !askedAt || (askedAt < knownSince && knownSince <= Date.now());
      if (known === epoch || (known && isOld)) return false;
      await asked(facts.put(epoch, "epoch"));
      await asked(facts.put(askedAt, "epoch_asked_at"));
      if (!known) return false;
      const waiting = await asked(unsent.getAll());
      const isWaiting = new Set(waiting.map(({ id }) => id));
      const had = (await asked(sent.getAll())).filter(({ id }) => !isWaiting.has(id));
      had.sort((one, other) => one.kept_at - other.kept_at);
      await asked(unsent.clear());
      for (const { id, station, body, kept_at, outcome } of had) await asked(unsent.add({ id, station, body, kept_at, again: true, was: outcome }));
      for (const { place, ...entry } of waiting) await asked(unsent.add(entry));
      await asked(sent.clear());
      return true;
    });
    if (!isNew) return;
    this.#tell("change");
    this.wake();
  }

  // Send what waits, now: unless the server asked for a pause that is not over.
  wake() {
    clearTimeout(this.timer);
    this.timer = null;
    if (this.isSending) {
      this.again = true;
      return;
    }
    const rest = this.notBefore - performance.now();
    if (rest > 0) this.timer = setTimeout(() => this.wake(), rest);
    else this.#send();
  }

  async #send() {
    this.isSending = true;
    let wait = null;
    try {
      const turn = await this.#myTurn(async () => {
        for (;;) {
          const batch = await this.#nextBatch();
          if (!batch.length) return null;
          const pause = await this.#deliver(batch);
          if (pause !== null) return pause;
          this.failures = 0;
        }
      });
      wait = turn === "taken" ? FIRST_WAIT_MS : turn;
    } catch {
      wait = this.#backOff();
      this.#setLink("store");
    } finally {
      this.isSending = false;
    }
    if (this.again) {
      this.again = false;
      if (wait === null) return this.wake();
    }
    if (wait !== null) this.timer = setTimeout(() => this.wake(), wait);
  }

  // One sender at a time over all pages of this device; "taken" where another one is at it.
  async #myTurn(work) {
    if (navigator.locks) {
      return navigator.locks.request("outbox", { ifAvailable: true }, (lock) => (lock ? work() : "taken"));
    }
    if (!(await this.#lease(LEASE_MS))) return "taken";
    try {
      return await work();
    } finally {
      await this.#lease(0);
    }
  }

  #lease(length) {
    return within(["facts"], "readwrite", async ({ facts }) => {
      const held = await asked(facts.get("sender"));
      const left = held ? held.until - Date.now() : 0;
      if (held && held.who !== this.me && left > 0 && left <= LEASE_MS) return false;
      await asked(facts.put({ who: this.me, until: Date.now() + length }, "sender"));
      return true;
    });
  }

  // The oldest first. Whatever the server could not read at all waits aside and never stops the others.
  async #nextBatch() {
    const all = await within(["unsent"], "readonly", ({ unsent }) => asked(unsent.getAll()));
    const isAside = ({ aside_until: until = 0 }) => until > Date.now() && until <= Date.now() + ASIDE_MS;
    const mine = all.filter((entry) => entry.station === this.station && !isAside(entry));
    if (mine[0]?.alone) return mine.slice(0, 1);
    const next = mine.findIndex((entry) => entry.alone);
    return mine.slice(0, next < 0 ? this.size : Math.min(next, this.size));
  }

  // Send a batch. Returns null to go on at once, or the milliseconds to wait.
  async #deliver(batch) {
    if (!navigator.locks) await this.#lease(LEASE_MS);
    let response;
    let answer;
    const report = await ownReport(batch);
    const began = performance.now();
    const patience = new AbortController();
    const timer = setTimeout(() => patience.abort(), PATIENCE_MS);
    try {
      response = await fetch(this.url, {
        method: "POST",
        credentials: "same-origin",
        redirect: "error",
        signal: patience.signal,
        headers: { ...report, "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": this.csrf() },
        body: JSON.stringify({ scans: batch.map((entry) => entry.body) }),
      });
      answer = await response.json().catch(() => null);
    } catch {
      this.#setLink("offline");
      return this.#backOff();
    } finally {
      clearTimeout(timer);
    }
    const { status, headers } = response;
    if (status === 200) this.#sizeBy(batch.length, performance.now() - began);
    if (status === 200 && Array.isArray(answer?.results)) return this.#settle(batch, answer.results, headers.get("Date"));
    if (answer && [400, 413, 422].includes(status)) {
      await this.#partBatch(batch, answer.detail, ASIDE_MS);
      return null;
    }
    this.#setLink(answer && [401, 403].includes(status) ? "locked" : "offline");
    this.broken = status === 500 ? this.broken + 1 : 0;
    if (this.broken === TRIES_OF_500) {
      this.broken = 0;
      await this.#partBatch(batch, answer?.detail, ASIDE_OF_500_MS);
    }
    const asks = Math.min(LONGEST_ASKED_MS, Number(headers.get("Retry-After")) * 1000 || 0);
    this.notBefore = performance.now() + asks;
    return asks + this.#backOff();
  }

  // As many in the next batch as are answered soon: where all tablets come back at once, nobody waits long for an answer.
  #sizeBy(count, took) {
    const soon = Math.round((count * ANSWERED_WITHIN_MS) / Math.max(1, took));
    this.size = Math.max(LEAST_BATCH, Math.min(BATCH, 2 * this.size, soon));
  }

  // Book the results. What got none stays where it is. The 30 days go by the earlier of the tablet's and the server's clock:
  // a clock that jumps ahead throws nothing away.
  async #settle(batch, results, date) {
    const now = Math.min(Date.now(), Date.parse(date) || Infinity);
    const byId = new Map(results.map((result) => [result?.id, result]));
    const done = [];
    for (const entry of batch) {
      const result = byId.get(entry.id);
      const final = result?.outcome === "repeated" ? result.first_outcome : result?.outcome;
      if (ANSWERS.has(final)) done.push({ entry, result, final });
    }
    await within(["unsent", "sent", "refused"], "readwrite", async ({ unsent, sent, refused }) => {
      for (const { entry, result, final } of done) {
        const { id, station, body, kept_at, again, was } = entry;
        await asked(unsent.delete(entry.place));
        await asked(sent.put({ id, station, body, kept_at, answered_at: now, outcome: final, message: result.message }));
        if (final === "refused" && !isAlready(result) && !(again && was === "refused")) {
          await asked(refused.put({ id, body, kept_at, message: result.message }));
        }
      }
      const old = IDBKeyRange.upperBound(now - KEPT_DAYS * DAY_MS);
      for (const key of await asked(sent.index("answered_at").getAllKeys(old))) await asked(sent.delete(key));
    });
    this.broken = 0;
    this.#setLink("sent");
    for (const { entry, result, final } of done) {
      if (!entry.again) this.#tell("result", { id: entry.id, body: entry.body, final, result });
    }
    this.#tell("change");
    return done.length ? null : this.#backOff();
  }

  // The server could not read the batch, or fails at it: each of its scans goes alone; one that fails alone waits aside, kept.
  async #partBatch(batch, detail, aside) {
    const alone = batch.length === 1;
    await within(["unsent"], "readwrite", ({ unsent }) =>
      Promise.all(
        batch.map((entry) =>
          asked(
            unsent.put({
              ...entry,
              alone: true,
              aside_until: alone ? Date.now() + aside : 0,
              detail: alone ? String(detail ?? "The server could not read it.") : "",
            }),
          ),
        ),
      ),
    );
    if (alone) this.#tell("change");
  }

  #backOff() {
    const longest = Math.min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** Math.min(this.failures, 6));
    this.failures += 1;
    return longest * (0.5 + Math.random() / 2);
  }

  #setLink(link) {
    this.link = link;
    this.#tell("link", { link });
  }

  #tell(type, detail = {}) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
    this.others?.postMessage({ type, detail });
  }

  #hear({ type, detail }) {
    if (type === "link") this.link = detail.link;
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }
}
