// A scanner that types like a keyboard, anywhere on the page: keys close together, ended by Enter.
// In a field only a scanner's pace counts, since a person types there too. Elsewhere nobody types, and a slow
// scanner or a busy tablet gets more time.

const GAP_IN_FIELD_MS = 50;
const GAP_MS = 500;
const SHORTEST = 2; // a stranger's bar code may be as short, and is answered too
const SHORTEST_IN_FIELD = 4;
const LONGEST = 80;

// Calls found(text) for each scan. What a person types slowly, in a field or not, is left alone.
export function listenForWedge(found) {
  let text = "";
  let lastAt = -Infinity;

  addEventListener(
    "keydown",
    (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
      const inField = Boolean(event.target.closest?.("input, textarea, select"));
      const gap = inField ? GAP_IN_FIELD_MS : GAP_MS;
      const isQuick = event.timeStamp - lastAt < gap;
      if (event.key === "Enter" || event.key === "Tab") {
        if (isQuick && text.length >= (inField ? SHORTEST_IN_FIELD : SHORTEST)) {
          event.preventDefault();
          event.stopPropagation();
          clearField(event.target, text);
          found(text);
        }
        text = "";
        lastAt = -Infinity;
        return;
      }
      if (event.key.length !== 1) return;
      text = isQuick ? (text + event.key).slice(-LONGEST) : event.key;
      lastAt = event.timeStamp;
    },
    { capture: true },
  );
}

// Scanned characters that landed in a field are taken out of it again.
function clearField(field, text) {
  if (field instanceof HTMLInputElement && field.value.toUpperCase().endsWith(text.toUpperCase())) {
    field.value = field.value.slice(0, -text.length);
  }
}
