// The digit pad of the enrolment page, and a word about scans that this tablet still keeps.

import { asked, within } from "./store.js";

const field = document.getElementById("code");
const pad = document.getElementById("enrol-pad");

pad.hidden = false;
pad.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const { digit, act } = button.dataset;
  if (digit && field.value.replace(/\D/g, "").length < field.maxLength - 2) field.value += digit;
  if (act === "clear") field.value = "";
  if (act === "back") field.value = field.value.slice(0, -1);
});

const kept = await within(["unsent"], "readonly", ({ unsent }) => asked(unsent.getAll())).catch(() => []);
if (kept.length) {
  const stations = [...new Set(kept.map((entry) => entry.station))].join(", ");
  const note = document.getElementById("enrol-unsent");
  const scans = kept.length === 1 ? "1 scan" : `${kept.length} scans`;
  note.textContent = `This tablet still keeps ${scans} for ${stations}. Enroll it there to send them; they stay kept meanwhile.`;
  note.hidden = false;
}
