// What the tablet keeps: one IndexedDB database, read and written in short transactions that are safe on disk when they end.
//
// unsent   scans on their way, in the order in which they were made
// refused  answers that the operator has not seen yet
// sent     what the server has, for 30 days: sent again when a backup was restored there
// facts    the last queue, the epoch, who sends

const NAME = "shopfloor";
const VERSION = 1;
let opening = null;

function open() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      const db = request.result;
      const unsent = db.createObjectStore("unsent", { keyPath: "place", autoIncrement: true });
      unsent.createIndex("id", "id", { unique: true });
      unsent.createIndex("code", "body.code");
      db.createObjectStore("refused", { keyPath: "id" });
      const sent = db.createObjectStore("sent", { keyPath: "id" });
      sent.createIndex("code", "body.code");
      sent.createIndex("kept_at", "kept_at");
      db.createObjectStore("facts");
    };
    request.onsuccess = () => {
      request.result.onclose = () => (opening = null);
      request.result.onversionchange = () => request.result.close();
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("another page holds the store"));
  });
  opening.catch(() => (opening = null));
  return opening;
}

export function asked(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

// Runs work(stores) in one transaction; resolves with its value once the transaction is complete.
export async function within(names, mode, work) {
  const db = await open();
  const options = mode === "readwrite" ? { durability: "strict" } : {};
  const transaction = db.transaction(names, mode, options);
  const complete = new Promise((resolve, reject) => {
    transaction.oncomplete = resolve;
    transaction.onabort = () => reject(transaction.error ?? new Error("the store gave up"));
    transaction.onerror = () => reject(transaction.error);
  });
  const stores = Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)]));
  let value;
  try {
    value = await work(stores);
  } catch (error) {
    complete.catch(() => {});
    try {
      transaction.abort();
    } catch {
      // it ended by itself
    }
    throw error;
  }
  await complete;
  return value;
}

export const fact = (name) => within(["facts"], "readonly", ({ facts }) => asked(facts.get(name)));
export const setFact = (name, value) => within(["facts"], "readwrite", ({ facts }) => asked(facts.put(value, name)));

// Every scan of a code that this tablet made and still has, oldest first.
export async function scansOf(code) {
  const [unsent, sent] = await within(["unsent", "sent"], "readonly", (stores) =>
    Promise.all([asked(stores.unsent.index("code").getAll(code)), asked(stores.sent.index("code").getAll(code))]),
  );
  return [...sent, ...unsent].sort((one, other) => one.kept_at - other.kept_at);
}
