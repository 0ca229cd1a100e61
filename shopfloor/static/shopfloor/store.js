// What the tablet keeps: one IndexedDB database, read and written in short transactions that are safe on disk when they end.
//
// unsent   scans on their way, in the order in which they were made
// refused  answers that the operator has not seen yet
// sent     what the server has, for 30 days: sent again when a backup was restored there
// facts    the last queue, the epoch, who sends, the running number
//
// A new release adds to the database and takes nothing away, so that the queue of the page before it goes on, and an older
// page still finds all that it knows. A page whose database a newer one changed hears "store-changed" on its window.

const NAME = "shopfloor";
const VERSION = 2;
const PATIENCE_MS = 10_000;
const ADDED = [addFirst, addAnsweredAt];
let opening = null;

function addFirst(transaction) {
  const db = transaction.db;
  const unsent = db.createObjectStore("unsent", { keyPath: "place", autoIncrement: true });
  unsent.createIndex("id", "id", { unique: true });
  unsent.createIndex("code", "body.code");
  db.createObjectStore("refused", { keyPath: "id" });
  const sent = db.createObjectStore("sent", { keyPath: "id" });
  sent.createIndex("code", "body.code");
  sent.createIndex("kept_at", "kept_at");
  db.createObjectStore("facts");
}

// The 30 days count from the answer; of what was answered before this was noted, from now.
function addAnsweredAt(transaction) {
  const sent = transaction.objectStore("sent");
  sent.createIndex("answered_at", "answered_at");
  const now = Date.now();
  sent.openCursor().onsuccess = ({ target: { result: row } }) => {
    if (!row) return;
    row.update({ ...row.value, answered_at: now });
    row.continue();
  };
}

// Opened at the version that it has where a newer release was here before.
function opened(version) {
  return new Promise((resolve, reject) => {
    const request = version ? indexedDB.open(NAME, version) : indexedDB.open(NAME);
    request.onupgradeneeded = ({ oldVersion }) => {
      for (const add of ADDED.slice(oldVersion)) add(request.transaction);
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  }).catch((error) => {
    if (version && error?.name === "VersionError") return opened();
    throw error;
  });
}

function open() {
  if (opening) return opening;
  const mine = opened(VERSION).then((db) => {
    const forget = () => (opening = opening === mine ? null : opening);
    db.onclose = forget;
    db.onversionchange = () => {
      db.close();
      forget();
      dispatchEvent(new Event("store-changed"));
    };
    return db;
  });
  opening = mine;
  mine.catch(() => (opening = opening === mine ? null : opening));
  return mine;
}

function inTime(promise) {
  return new Promise((resolve, reject) => {
    const late = setTimeout(() => reject(new Error("the store does not answer")), PATIENCE_MS);
    promise.then(resolve, reject).finally(() => clearTimeout(late));
  });
}

function giveUp(transaction) {
  try {
    transaction.abort();
  } catch {
    // it ended by itself
  }
}

export function asked(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

// Runs work(stores) in one transaction; resolves with its value once the transaction is complete. Rejects, with nothing
// changed, where the store fails or gives no answer in time.
export async function within(names, mode, work) {
  const db = await inTime(open());
  const options = mode === "readwrite" ? { durability: "strict" } : {};
  const transaction = db.transaction(names, mode, options);
  const complete = new Promise((resolve, reject) => {
    transaction.oncomplete = resolve;
    transaction.onabort = () => reject(transaction.error ?? new Error("the store gave up"));
    transaction.onerror = () => reject(transaction.error);
  });
  const stores = Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)]));
  const late = setTimeout(() => giveUp(transaction), PATIENCE_MS);
  try {
    const value = await work(stores);
    await complete;
    return value;
  } catch (error) {
    complete.catch(() => {});
    giveUp(transaction);
    throw error;
  } finally {
    clearTimeout(late);
  }
}

export const fact = (name) => within(["facts"], "readonly", ({ facts }) => asked(facts.get(name)));
export const setFact = (name, value) => within(["facts"], "readwrite", ({ facts }) => asked(facts.put(value, name)));

// The tablet's next running number, given out in the transaction that stores its scan: none is lost, none is used twice.
// The series names this store: where it was emptied, the numbers begin anew under another name.
export async function nextNumber(facts, newName) {
  const { series, last } = (await asked(facts.get("numbering"))) ?? { series: newName(), last: 0 };
  await asked(facts.put({ series, last: last + 1 }, "numbering"));
  return last + 1;
}

// Every scan of a code that this tablet made and still has, oldest first.
export async function scansOf(code) {
  const [unsent, sent] = await within(["unsent", "sent"], "readonly", (stores) =>
    Promise.all([asked(stores.unsent.index("code").getAll(code)), asked(stores.sent.index("code").getAll(code))]),
  );
  return [...sent, ...unsent].sort((one, other) => one.kept_at - other.kept_at);
}
