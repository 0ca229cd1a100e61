// Keeps the board current. The server draws it and sends it by the stream when it changes. Where nothing came for a few
// seconds this asks (304 while nothing changed), because only an answer proves a server. Without a stream it asks every 2 s.

const board = document.getElementById("board");
const staleAfter = Number(board.dataset.staleAfter) * 1000;
const ASK_WITH_STREAM = 10000;
const ASK_WITHOUT = 2000;
const GIVE_UP = 8000;

let etag = "";
let answeredAt = performance.now();
let askedAt = performance.now();
let asking = false;
let stream = null;

function pick(selector) {
  return board.querySelector(selector);
}

// The server's own clock, in the shop's zone: what stands there was true then.
function showTime(date) {
  const time = pick(".floor-clock time");
  if (!time || Number.isNaN(date.getTime())) return;
  time.dateTime = date.toISOString();
  time.textContent = date.toLocaleTimeString("en-GB", { timeZone: time.dataset.zone });
}

function showAge() {
  const age = performance.now() - answeredAt;
  const banner = pick(".floor-stale");
  if (!banner) return;
  banner.hidden = age <= staleAfter;
  if (!banner.hidden) {
    const asOf = pick(".floor-clock time").textContent;
    const seconds = Math.round(age / 1000);
    const ago = seconds < 120 ? `${seconds} s` : `${Math.round(seconds / 60)} min`;
    pick(".floor-stale-words").textContent = `No connection for ${ago}. As of ${asOf}.`;
  }
}

function show(drawn, tag) {
  board.innerHTML = drawn;
  etag = tag;
  answeredAt = performance.now();
}

async function ask() {
  if (asking) return;
  asking = true;
  askedAt = performance.now();
  const known = etag;
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), GIVE_UP);
  try {
    const answer = await fetch(board.dataset.part, {
      headers: known ? { "If-None-Match": known } : {},
      cache: "no-store",
      signal: stop.signal,
    });
    if (answer.redirected || answer.status === 401 || answer.status === 403) {
      location.reload();
      return;
    }
    if (answer.status === 304) {
      showTime(new Date(answer.headers.get("Date")));
      answeredAt = performance.now();
    } else if (answer.ok) {
      const drawn = await answer.text();
      if (etag === known) show(drawn, answer.headers.get("ETag") || ""); // else the stream was faster, and goes on
    }
  } catch {
    // No answer: the age on the screen says so.
  } finally {
    clearTimeout(timer);
    asking = false;
    showAge();
  }
}

function listen() {
  stream = new EventSource(board.dataset.stream);
  stream.addEventListener("drawn", (event) => {
    askedAt = performance.now();
    if (event.lastEventId !== etag) show(event.data, event.lastEventId);
    answeredAt = askedAt;
    showAge();
  });
}

function tick() {
  showAge();
  if (stream.readyState === EventSource.CLOSED && performance.now() - askedAt > ASK_WITHOUT) listen();
  const every = stream.readyState === EventSource.OPEN ? ASK_WITH_STREAM : ASK_WITHOUT;
  if (performance.now() - askedAt >= every) ask();
}

listen();
ask();
setInterval(tick, 1000);
