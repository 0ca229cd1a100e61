// The search in the head of a page: "/" goes to it, what is typed shows the first that it finds, arrows go through them.

const form = document.querySelector("form[data-find]");
const WAIT_MS = 150;

if (form) {
  const field = form.querySelector("input[name=q]");
  const first = form.querySelector(".frame-find-first");
  let timer = 0;
  let asking = null;

  const close = () => {
    first.hidden = true;
    clearTimeout(timer);
    asking?.abort();
  };

  const ask = async () => {
    const text = field.value.trim();
    asking?.abort();
    if (!text) {
      close();
      return;
    }
    asking = new AbortController();
    try {
      const answer = await fetch(`${form.dataset.find}?${new URLSearchParams({ q: text })}`, {
        signal: asking.signal,
        headers: { Accept: "text/html" },
      });
      if (!answer.ok || answer.redirected) {
        close();
        return;
      }
      first.innerHTML = await answer.text();
      first.hidden = false;
    } catch {
      // another letter was typed, or the server is away: Enter still asks for the whole page
    }
  };

  field.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(ask, WAIT_MS);
  });
  document.addEventListener("keydown", (event) => {
    if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.closest?.("input, textarea, select, [contenteditable=true]")) return;
    event.preventDefault();
    field.focus();
    field.select();
  });
  form.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !first.hidden) {
      event.preventDefault();
      close();
      field.focus();
      return;
    }
    if (first.hidden || !["ArrowDown", "ArrowUp"].includes(event.key)) return;
    const stops = [field, ...first.querySelectorAll("a")];
    const at = stops.indexOf(document.activeElement) + (event.key === "ArrowDown" ? 1 : -1);
    event.preventDefault();
    stops[Math.max(0, Math.min(at, stops.length - 1))].focus();
  });
  form.addEventListener("focusout", (event) => {
    if (event.relatedTarget && !form.contains(event.relatedTarget)) close();
  });
  document.addEventListener("pointerdown", (event) => {
    if (!form.contains(event.target)) close();
  });
}
