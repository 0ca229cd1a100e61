/* Shop tables: filter the rows, add one, see what was changed. The form works without it. */

const form = document.querySelector("[data-table-editor]");
const body = document.getElementById("grid-rows");
const filter = document.getElementById("grid-filter");
const status = document.getElementById("grid-status");
const rows = () => [...body.rows];
const cells = (row) => [...row.querySelectorAll("input:not([type=checkbox]), select, textarea")];
const textOf = (row) => cells(row).map((field) => field.value).join("\n").toLowerCase();
let isSending = false;
let isChanged = Boolean(document.querySelector(".form-errors"));

function mark(row) {
  row.classList.toggle("is-removed", row.querySelector("[type=checkbox]").checked);
}

function applyFilter() {
  const words = filter.value.toLowerCase().split(/\s+/).filter(Boolean);
  let shown = 0;
  let filled = 0;
  for (const row of rows()) {
    const text = textOf(row);
    const isBlank = !text.trim();
    const fits = words.every((word) => text.includes(word)) || row.querySelector(".is-wrong") !== null;
    row.hidden = words.length > 0 && (isBlank || !fits);
    filled += !isBlank;
    shown += !isBlank && !row.hidden;
  }
  const all = filled === 1 ? "1 row" : `${filled} rows`;
  status.textContent = words.length ? `${shown} of ${all} shown. All are saved.` : all;
}

function addRow() {
  filter.value = "";
  applyFilter();
  const blank = rows().find((row) => !textOf(row).trim());
  if (blank) return cells(blank)[0].focus();
  const last = body.rows[body.rows.length - 1];
  const row = last.cloneNode(true);
  const at = Number(last.dataset.row) + 1;
  row.dataset.row = at;
  row.classList.remove("is-removed");
  row.querySelector("th").textContent = body.rows.length + 1;
  for (const wrong of row.querySelectorAll(".is-wrong")) wrong.classList.remove("is-wrong");
  for (const error of row.querySelectorAll(".field-error")) error.remove();
  for (const field of row.querySelectorAll("input, select, textarea")) {
    field.name = field.name.replace(/^\d+/, at);
    if (field.id) field.id = `id_${field.name}`;
    field.removeAttribute("aria-invalid");
    field.removeAttribute("title");
    if (field.type === "checkbox") field.checked = false;
    else {
      field.value = "";
      field.setAttribute("aria-label", field.getAttribute("aria-label").replace(/row \d+/, `row ${body.rows.length + 1}`));
    }
  }
  body.append(row);
  cells(row)[0].focus();
}

filter.addEventListener("input", applyFilter);
filter.addEventListener("keydown", (event) => { if (event.key === "Enter") event.preventDefault(); });
body.addEventListener("change", (event) => {
  isChanged = true;
  mark(event.target.closest("tr"));
});
body.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches("input:not([type=checkbox]), select, textarea")) return;
  event.preventDefault();
  const row = event.target.closest("tr");
  const at = cells(row).indexOf(event.target);
  let next = row.nextElementSibling;
  while (next?.hidden) next = next.nextElementSibling;
  if (next) cells(next)[at].focus();
});
document.querySelector("[data-add-row]").addEventListener("click", addRow);
form.addEventListener("submit", (event) => {
  if (isSending) event.preventDefault();
  isSending = true;
});
addEventListener("pageshow", () => { isSending = false; });
addEventListener("beforeunload", (event) => { if (isChanged && !isSending) event.preventDefault(); });
for (const part of document.querySelectorAll("[data-needs-script]")) part.hidden = false;
document.querySelector(".form-errors")?.focus();
applyFilter();
