// A signature: drawn in the box, kept on the device before it is sent, sent until it is answered.
//
// The box is 1000 by 400 whatever its size on the screen. A kept signature has a key of its own: sent twice it counts once.
// It leaves the device when the server took it or said why not; no connection, a server in trouble and a sign-in that ran
// out keep it. The list of deliveries sends what another page left behind.

const KEEP = "delivery:";
const FIRST_WAIT_MS = 2000;
const LONGEST_WAIT_MS = 30_000;
const PATIENCE_MS = 20_000;
const LEAST_STEP = 4;
const MOST_POINTS = 4000;

const words = JSON.parse(document.getElementById("words").textContent);
const says = document.getElementById("says");
const wrong = document.getElementById("says-wrong");
const csrf = document.querySelector("meta[name=csrf-token]").content;
const sendNow = document.getElementById("send-now");
const unkept = new Map();
let wait = FIRST_WAIT_MS;
let timer = null;
let isSending = false;

function tell(text, isWrong = false) {
  says.textContent = isWrong ? "" : text;
  wrong.textContent = isWrong ? text : "";
  wrong.hidden = !isWrong;
}

// -- what is kept ------------------------------------------------------------

function keep(id, entry) {
  try {
    localStorage.setItem(KEEP + id, JSON.stringify(entry));
    return true;
  } catch {
    unkept.set(id, entry);
    return false;
  }
}

function forget(id) {
  unkept.delete(id);
  try { localStorage.removeItem(KEEP + id); } catch { /* nothing was kept there */ }
}

function kept() {
  const found = new Map(unkept);
  try {
    for (const name of Object.keys(localStorage)) {
      if (name.startsWith(KEEP)) found.set(name.slice(KEEP.length), JSON.parse(localStorage.getItem(name)));
    }
  } catch { /* the device keeps nothing: what this page holds is all */ }
  return found;
}

function newKey() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((one) => one.toString(16).padStart(2, "0")).join("");
}

// -- sending -------------------------------------------------------------------

async function send(id, entry) {
  const gone = new AbortController();
  const late = setTimeout(() => gone.abort(), PATIENCE_MS);
  try {
    const answer = await fetch(entry.url, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-CSRFToken": csrf, "Idempotency-Key": entry.key },
      body: JSON.stringify(entry.body),
      signal: gone.signal,
    });
    if (answer.ok) return { is: "done" };
    if (answer.status === 401 || answer.status === 403) return { is: "out" };
    const isWaiting = answer.status === 409 && answer.headers.has("Retry-After");
    if (answer.status >= 500 || answer.status === 429 || isWaiting) return { is: "later" };
    const problem = await answer.json().catch(() => ({}));
    return { is: "refused", words: problem.detail || `${answer.status}` };
  } catch {
    return { is: "later" };
  } finally {
    clearTimeout(late);
  }
}

async function sendAll() {
  clearTimeout(timer);
  if (isSending) return;
  isSending = true;
  let isLeft = false;
  let isOut = false;
  for (const [id, entry] of kept()) {
    tell(words.sending);
    const found = await send(id, entry);
    if (found.is === "done") {
      forget(id);
      tell(words.done);
      wait = FIRST_WAIT_MS;
      location.reload();
    } else if (found.is === "refused") {
      forget(id);
      pad?.open();
      tell(found.words, true);
    } else {
      isLeft = true;
      isOut ||= found.is === "out";
    }
  }
  isSending = false;
  sendNow.hidden = !isLeft;
  if (!isLeft) return;
  tell(isOut ? words.signed_out : unkept.size ? words.not_kept : words.kept, true);
  timer = setTimeout(sendAll, wait);
  wait = Math.min(2 * wait, LONGEST_WAIT_MS);
}

sendNow.addEventListener("click", () => { wait = FIRST_WAIT_MS; sendAll(); });
addEventListener("online", sendAll);

// -- the box ---------------------------------------------------------------------

class Pad {
  constructor(form) {
    this.form = form;
    this.canvas = form.querySelector("canvas");
    this.pen = this.canvas.getContext("2d");
    this.strokes = [];
    this.points = 0;
    this.size();
    new ResizeObserver(() => this.size()).observe(this.canvas);
    this.canvas.addEventListener("pointerdown", (event) => this.begin(event));
    this.canvas.addEventListener("pointermove", (event) => this.go(event));
    for (const name of ["pointerup", "pointercancel"]) this.canvas.addEventListener(name, () => { this.line = null; });
    form.querySelector("[data-clear]").addEventListener("click", () => this.clear());
    form.addEventListener("submit", (event) => this.submit(event));
  }

  size() {
    const box = this.canvas.getBoundingClientRect();
    const ratio = Math.max(1, devicePixelRatio);
    const wide = Math.round(box.width * ratio);
    if (wide && wide !== this.canvas.width) {
      this.canvas.width = wide;
      this.canvas.height = Math.round(wide * 0.4);
    }
    this.draw();
  }

  at(event) {
    const box = this.canvas.getBoundingClientRect();
    const inside = (value, most) => Math.min(most, Math.max(0, Math.round(value)));
    return [inside(((event.clientX - box.left) / box.width) * 1000, 1000), inside(((event.clientY - box.top) / box.height) * 400, 400)];
  }

  begin(event) {
    if (this.isShut || this.points >= MOST_POINTS || this.strokes.length >= 100) return;
    event.preventDefault();
    this.canvas.setPointerCapture(event.pointerId);
    this.line = [this.at(event)];
    this.strokes.push(this.line);
    this.points += 1;
    this.draw();
  }

  go(event) {
    if (!this.line) return;
    for (const one of event.getCoalescedEvents?.() ?? [event]) {
      const [x, y] = this.at(one);
      const [lastX, lastY] = this.line.at(-1);
      if (Math.hypot(x - lastX, y - lastY) < LEAST_STEP || this.points >= MOST_POINTS) continue;
      this.line.push([x, y]);
      this.points += 1;
    }
    this.draw();
  }

  clear() {
    if (this.isShut) return;
    this.strokes = [];
    this.points = 0;
    this.draw();
    tell("");
  }

  draw() {
    const scale = this.canvas.width / 1000;
    const { pen } = this;
    pen.clearRect(0, 0, this.canvas.width, this.canvas.height);
    pen.lineWidth = 6 * scale;
    pen.lineCap = pen.lineJoin = "round";
    pen.strokeStyle = "#000000";
    pen.beginPath();
    for (const stroke of this.strokes) {
      pen.moveTo(stroke[0][0] * scale, stroke[0][1] * scale);
      for (const [x, y] of stroke.length > 1 ? stroke.slice(1) : stroke) pen.lineTo(x * scale, y * scale);
    }
    pen.stroke();
    this.canvas.dataset.strokes = this.strokes.length;
  }

  shut() {
    this.isShut = true;
    for (const part of this.form.elements) if (part.id !== "send-now") part.disabled = true;
  }

  open() {
    this.isShut = false;
    for (const part of this.form.elements) part.disabled = false;
  }

  submit(event) {
    event.preventDefault();
    const isOnPaper = event.submitter?.hasAttribute("data-on-paper");
    const name = this.form.elements.name.value.trim();
    if (!name) {
      tell(words.needs_name, true);
      this.form.elements.name.focus();
      return;
    }
    if (!isOnPaper && !this.strokes.length) {
      tell(words.needs_sign, true);
      return;
    }
    const body = isOnPaper ? { name } : { name, strokes: this.strokes };
    keep(this.form.dataset.id, { url: this.form.dataset.url, key: newKey(), body });
    this.shut();
    sendAll();
  }
}

const form = document.getElementById("sign");
const pad = form ? new Pad(form) : null;
const left = kept();
if (pad && left.has(form.dataset.id)) {
  const { body } = left.get(form.dataset.id);
  form.elements.name.value = body.name;
  pad.strokes = body.strokes ?? [];
  pad.draw();
  pad.shut();
}
if (left.size) {
  tell(words.kept_one);
  sendAll();
}
document.documentElement.dataset.signature = "ready";
