// What this tablet's own scans of a code say, sent or not; refused ones say nothing.

import { scansOf } from "./store.js";

async function standing(code) {
  const own = (await scansOf(code).catch(() => [])).filter(({ outcome }) => outcome !== "refused");
  const undone = new Set(own.map(({ body }) => body.undoes));
  return own.filter(({ id }) => !undone.has(id));
}

// Whether the last of them started it; null where none started or finished it.
export async function lastStarted(code) {
  const last = (await standing(code)).filter(({ body }) => ["start", "finish"].includes(body.action)).at(-1);
  return last ? last.body.action === "start" : null;
}

// The id of the last one that an undo can cancel; empty where there is none.
export async function lastToUndo(code) {
  return (await standing(code)).filter(({ body }) => body.action !== "undo").at(-1)?.id ?? "";
}
