// One tick for all that is listed.

const all = document.getElementById("tick-all");
const each = [...document.querySelectorAll("input[name=item]")];
if (all) {
  all.closest("label").hidden = false;
  all.addEventListener("change", () => each.forEach((one) => (one.checked = all.checked)));
  for (const one of each) one.addEventListener("change", () => (all.checked = each.every(({ checked }) => checked)));
}
