/* Asking for a cut plan: how much is chosen stands below the list, and a date ticks what is due up to it.
   Without this file the server leaves out what is due later, and counts when it is asked. */

const ANY = "any";
const form = document.querySelector("[data-cut-form]");
if (form) begin();

function begin() {
  const boxes = [...form.querySelectorAll("input[name=orders]")];
  const due = form.querySelector("[name=due_to]");
  const chosen = form.querySelector("[data-chosen]");
  const many = (number, noun) => `${number.toLocaleString("en-US")} ${noun}${number === 1 ? "" : "s"}`;

  function count() {
    const ticked = boxes.filter((box) => box.checked);
    const sum = (name) => ticked.reduce((total, box) => total + Number(box.dataset[name]), 0);
    chosen.textContent = ticked.length
      ? `Chosen: ${many(sum("pieces"), "piece")} of ${many(sum("fittings"), "fitting")}, ${many(ticked.length, "order")}.`
      : "No order is chosen.";
  }

  due.addEventListener("change", () => {
    for (const box of boxes) box.checked = due.value === ANY || (box.dataset.due !== "" && box.dataset.due <= due.value);
    count();
  });
  for (const box of boxes) {
    box.addEventListener("change", () => {
      const isLater = due.value !== ANY && (!box.dataset.due || box.dataset.due > due.value);
      if (box.checked && isLater) due.value = ANY; // what is ticked by hand counts
      count();
    });
  }
  for (const button of form.querySelectorAll("[data-tick]")) {
    button.addEventListener("click", () => {
      for (const box of boxes) box.checked = button.dataset.tick === "all";
      due.value = ANY;
      count();
    });
  }
  for (const part of form.querySelectorAll("[data-needs-script]")) part.hidden = false;
  chosen.hidden = false;
  count();
}
