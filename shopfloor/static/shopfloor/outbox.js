// The queue of scans: every scan is stored on the device first, then sent. One path, online or not.
//
// An entry leaves only when its own result came back. Network errors, 401, 403 and 5xx keep everything. One page sends at a
// time. Tells what happens by events: "change" (how much is unsent), "result" (one scan's answer), "link" (how sending goes).

import { asked, fact, setFact, within } from "./store.js";

const BATCH = 100;
const PATIENCE_MS = 20_000;
const LEASE_MS = 30_000;
const FIRST_WAIT_MS = 1_000;
const LONGEST_WAIT_MS = 60_000;
const ASIDE_MS = 10 * 60_000;
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

export class Outbox extends EventTarget {
  constructor({ url, station, csrf }) {
    super();
    this.url = url;
    this.station = station;
    this.csrf = csrf;
    this.me = newId();
    this.failures = 0;
    this.link = "idle";
    this.timer = null;
    this.isSending = false;
    this.again = false;
    this.others = "BroadcastChannel" in window ? new BroadcastChannel("outbox") : null;
    if (this.others) this.others.onmessage = ({ data }) => this.#hear(data);
    addEventListener("online", () => this.wake());
  }

  // Store a scan, then send it. Rejects with NotKept where the device could not store it.
  async keep({ code, action, badge, reason = "", undoes = "" }) {
    const now = new Date();
    const id = newId();
    const body = { id, code, action, badge, reason, station: this.station, scanned_at: timeWithOffset(now) };
    if (undoes) body.undoes = undoes;
    const entry = { id, station: this.station, body, kept_at: now.getTime() };
    try {
      await within(["unsent"], "readwrite", ({ unsent }) => asked(unsent.add(entry)));
    } catch (error) {
      throw new NotKept(String(error));
    }
    this.#tell("change");
    this.wake();
    return entry;
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

  // On a new epoch the server has an older record: everything that it had is sent again, in its old order.
  async noteEpoch(epoch) {
    const known = await fact("epoch");
    if (known === epoch) return;
    if (known) {
      await within(["unsent", "sent", "facts"], "readwrite", async ({ unsent, sent, facts }) => {
        const had = (await asked(sent.getAll())).sort((one, other) => one.kept_at - other.kept_at);
        const waiting = await asked(unsent.getAll());
        await asked(unsent.clear());
        for (const { id, station, body, kept_at } of had) await asked(unsent.add({ id, station, body, kept_at, again: true }));
        for (const { place, ...entry } of waiting) await asked(unsent.add(entry));
        await asked(sent.clear());
        await asked(facts.put(epoch, "epoch"));
      });
      this.#tell("change");
      this.wake();
    } else {
      await setFact("epoch", epoch);
    }
  }

  wake() {
    clearTimeout(this.timer);
    this.timer = null;
    if (this.isSending) {
      this.again = true;
      return;
    }
    this.#send();
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
      if (held && held.who !== this.me && held.until > Date.now()) return false;
      await asked(facts.put({ who: this.me, until: Date.now() + length }, "sender"));
      return true;
    });
  }

  // The oldest first. Whatever the server could not read at all waits aside and never stops the others.
  async #nextBatch() {
    const all = await within(["unsent"], "readonly", ({ unsent }) => asked(unsent.getAll()));
    const mine = all.filter((entry) => entry.station === this.station);
    const doubtful = mine.filter((entry) => entry.alone && !(entry.aside_until > Date.now()));
    const plain = mine.filter((entry) => !entry.alone);
    return plain.length ? plain.slice(0, BATCH) : doubtful.slice(0, 1);
  }

  // Send a batch. Returns null to go on at once, or the milliseconds to wait.
  async #deliver(batch) {
    if (!navigator.locks) await this.#lease(LEASE_MS);
    let response;
    let answer;
    const patience = new AbortController();
    const timer = setTimeout(() => patience.abort(), PATIENCE_MS);
    try {
      response = await fetch(this.url, {
        method: "POST",
        credentials: "same-origin",
        redirect: "error",
        signal: patience.signal,
        headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": this.csrf() },
        body: JSON.stringify({ scans: batch.map((entry) => entry.body) }),
      });
      answer = await response.json();
    } catch {
      this.#setLink("offline");
      return this.#backOff();
    } finally {
      clearTimeout(timer);
    }
    if (response.status === 200 && Array.isArray(answer?.results)) return this.#settle(batch, answer.results);
    if ([400, 413, 422].includes(response.status)) return this.#partBatch(batch, answer?.detail);
    this.#setLink([401, 403].includes(response.status) ? "locked" : "offline");
    const asks = Number(response.headers.get("Retry-After")) * 1000;
    return Math.max(this.#backOff(), Number.isFinite(asks) ? asks : 0);
  }

  // Book the results. What got none stays where it is.
  async #settle(batch, results) {
    const byId = new Map(results.map((result) => [result?.id, result]));
    const done = [];
    for (const entry of batch) {
      const result = byId.get(entry.id);
      const final = result?.outcome === "repeated" ? result.first_outcome : result?.outcome;
      if (ANSWERS.has(final)) done.push({ entry, result, final });
    }
    await within(["unsent", "sent", "refused"], "readwrite", async ({ unsent, sent, refused }) => {
      for (const { entry, result, final } of done) {
        const { id, station, body, kept_at, again } = entry;
        await asked(unsent.delete(entry.place));
        await asked(sent.put({ id, station, body, kept_at, outcome: final, message: result.message }));
        if (final === "refused" && !again) {
          await asked(refused.put({ id, body, kept_at, message: result.message }));
        }
      }
      const old = IDBKeyRange.upperBound(Date.now() - KEPT_DAYS * DAY_MS);
      for (const key of await asked(sent.index("kept_at").getAllKeys(old))) await asked(sent.delete(key));
    });
    this.#setLink("sent");
    for (const { entry, result, final } of done) {
      if (!entry.again) this.#tell("result", { id: entry.id, body: entry.body, final, result });
    }
    this.#tell("change");
    return done.length ? null : this.#backOff();
  }

  // The server could not read the batch: each of its scans goes alone, and one that cannot be read waits aside, kept.
  async #partBatch(batch, detail) {
    const alone = batch.length === 1;
    await within(["unsent"], "readwrite", ({ unsent }) =>
      Promise.all(
        batch.map((entry) =>
          asked(
            unsent.put({
              ...entry,
              alone: true,
              aside_until: alone ? Date.now() + ASIDE_MS : 0,
              detail: alone ? String(detail ?? "The server could not read it.") : "",
            }),
          ),
        ),
      ),
    );
    if (alone) this.#tell("change");
    return null;
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
