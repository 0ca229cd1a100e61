/* Picture and list of a sheet point at each other: a piece under the pointer or the focus is marked in both.
   Without this file a piece is chosen by its code in the list (?piece=). */

const sheet = document.querySelector("[data-sheet]");
const shapes = [...sheet.querySelectorAll("[data-picture] [data-feed]")];
const rows = [...sheet.querySelectorAll("tr[data-feed]")];
const of = (list, feed) => list.find((one) => one.dataset.feed === feed);

function mark(feed) {
  for (const one of [...shapes, ...rows]) one.classList.toggle("is-pointed", one.dataset.feed === feed);
}

for (const one of [...shapes, ...rows]) {
  one.addEventListener("pointerenter", () => mark(one.dataset.feed));
  one.addEventListener("pointerleave", () => mark(null));
}
for (const row of rows) {
  row.addEventListener("focusin", () => mark(row.dataset.feed));
  row.addEventListener("focusout", () => mark(null));
}
for (const shape of shapes) {
  shape.addEventListener("click", () => {
    const link = of(rows, shape.dataset.feed)?.querySelector("th a");
    link?.scrollIntoView({ block: "center" });
    link?.focus({ preventScroll: true });
  });
}
