// Moves things on the plan, by mouse or keyboard, and keeps the form's numbers in step: what is saved is the form.

const editor = document.getElementById("plan-editor");
const svg = editor.querySelector("svg");
const said = editor.querySelector(".plan-said");
const scale = Number(svg.dataset.scale); // drawn units a foot
const unit = Number(editor.dataset.feet); // feet of one of the form's units
const step = Number(editor.dataset.step);
const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const lines = [...svg.querySelectorAll("[data-begin]")];
const places = new Map();
const room = svg.querySelector(".plan-room");
const roomWide = Number(room.getAttribute("width")) / scale / unit;
const roomDeep = Number(room.getAttribute("height")) / scale / unit;

class Place {
  constructor(drawn, row) {
    this.drawn = drawn;
    this.middle = middleOf(drawn);
    this.code = drawn.dataset.code;
    this.fields = {};
    for (const name of ["x", "y", "width", "depth", "is_turned", "is_fixed"]) {
      this.fields[name] = row.querySelector(`[name$="-${name}"]`);
      this.fields[name].addEventListener("input", () => this.draw());
    }
  }

  get isFixed() {
    return this.fields.is_fixed.checked;
  }

  // 12.5, 12 1/2 and 1/2; null for what only the server reads.
  number(name) {
    const found = /^(\d*\.?\d+)?(?:(?:^|[\s-]+)(\d+)\/(\d+))?$/.exec(this.fields[name].value.trim());
    if (!found || (!found[1] && !found[2])) return null;
    return Number(found[1] ?? 0) + (found[2] ? Number(found[2]) / Number(found[3]) : 0);
  }

  get isRead() {
    return ["x", "y", "width", "depth"].every((name) => this.number(name) !== null);
  }

  get size() {
    const [width, depth] = [this.number("width"), this.number("depth")];
    return this.fields.is_turned.checked ? [depth, width] : [width, depth];
  }

  // To where it is dropped: on the grid and inside the room.
  put(x, y) {
    const [wide, deep] = this.size;
    this.fields.x.value = tidy(Math.min(Math.max(onGrid(x), 0), Math.max(0, roomWide - wide)));
    this.fields.y.value = tidy(Math.min(Math.max(onGrid(y), 0), Math.max(0, roomDeep - deep)));
    this.draw();
  }

  turn() {
    this.fields.is_turned.checked = !this.fields.is_turned.checked;
    this.draw();
  }

  draw() {
    this.drawn.toggleAttribute("data-fixed", this.isFixed);
    this.drawn.toggleAttribute("hidden", !this.fields.x.value.trim());
    if (!this.isRead) return;
    const [x, y] = [this.number("x"), this.number("y")];
    const [wide, deep] = this.size;
    const by = unit * scale;
    this.drawn.setAttribute("transform", `translate(${x * by} ${y * by})`);
    const rect = this.drawn.querySelector("rect");
    const shift = (deep * by - Number(rect.getAttribute("height"))) / 2;
    rect.setAttribute("width", wide * by);
    rect.setAttribute("height", deep * by);
    for (const text of this.drawn.querySelectorAll("text")) {
      text.setAttribute("x", (wide * by) / 2);
      text.setAttribute("y", Number(text.getAttribute("y")) + shift);
    }
    this.drawn.setAttribute("aria-label", this.words);
    this.middle = [(x + wide / 2) * by, (y + deep / 2) * by];
    drawLines();
  }

  get words() {
    const sign = editor.dataset.sign;
    return `${this.code}, ${this.fields.x.value} ${sign} from the left, ${this.fields.y.value} ${sign} from the top`;
  }
}

function middleOf(drawn) {
  const box = drawn.querySelector("rect").getBBox();
  const { e, f } = drawn.transform.baseVal.getItem(0).matrix;
  return [e + box.width / 2, f + box.height / 2];
}

// Flow lines follow what they lead to; along and across, what is carried a day follows them.
function drawLines() {
  let carried = 0;
  for (const line of lines) {
    const [begin, end] = [places.get(line.dataset.begin).middle, places.get(line.dataset.end).middle];
    for (const [name, value] of [["x1", begin[0]], ["y1", begin[1]], ["x2", end[0]], ["y2", end[1]]])
      line.setAttribute(name, value);
    carried += Number(line.dataset.trips) * (Math.abs(begin[0] - end[0]) + Math.abs(begin[1] - end[1]));
  }
  const whole = Math.round(carried / scale / unit).toLocaleString("en-US");
  editor.querySelector(".plan-carried").textContent = `${whole} ${editor.dataset.sign}`;
}

function onGrid(value) {
  return Math.round(value / step) * step;
}

function tidy(value) {
  return String(Math.round(value * 100) / 100);
}

function announce(text) {
  said.textContent = text;
}

// Where the pointer is, in the form's units.
function at(event) {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(room.getScreenCTM().inverse());
  return [point.x / scale / unit, point.y / scale / unit];
}

function drag(place, event) {
  const [x, y] = at(event);
  const [from, upper] = [place.number("x") - x, place.number("y") - y];
  const move = (moved) => {
    const [nowX, nowY] = at(moved);
    place.put(nowX + from, nowY + upper);
  };
  const drop = () => {
    place.drawn.removeEventListener("pointermove", move);
    place.drawn.classList.remove("is-held");
    announce(`${place.words}.`);
  };
  place.drawn.setPointerCapture(event.pointerId);
  place.drawn.classList.add("is-held");
  place.drawn.addEventListener("pointermove", move);
  place.drawn.addEventListener("lostpointercapture", drop, { once: true });
}

function follow(place) {
  place.drawn.addEventListener("pointerdown", (event) => {
    if (event.button === 0 && !refuses(place)) drag(place, event);
  });
  place.drawn.addEventListener("keydown", (event) => {
    const way = MOVES[event.key];
    const isTurn = event.key.toLowerCase() === "t";
    if (event.ctrlKey || event.metaKey || event.altKey || (!way && !isTurn)) return;
    event.preventDefault();
    if (refuses(place)) return;
    if (isTurn) place.turn();
    else place.put(place.number("x") + way[0] * step, place.number("y") + way[1] * step);
    announce(isTurn ? `${place.code} is turned.` : `${place.words}.`);
  });
}

function refuses(place) {
  if (place.isFixed) announce(`${place.code} is fixed. Take the mark away in the table to move it.`);
  else if (!place.isRead) announce(`${place.code} has a number in the table that is not read here. Write it like 12.5.`);
  return place.isFixed || !place.isRead;
}

const rows = new Map([...document.querySelectorAll("[data-place-code]")].map((row) => [row.dataset.placeCode, row]));
for (const drawn of svg.querySelectorAll("[data-code]")) {
  const row = rows.get(drawn.dataset.code); // none where its name was typed anew and is not saved
  const place = row ? new Place(drawn, row) : { middle: middleOf(drawn) };
  places.set(drawn.dataset.code, place);
  if (row) follow(place);
}
