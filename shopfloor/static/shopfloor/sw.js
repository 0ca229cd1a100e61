// Keeps the station's page with its scripts, styles and decoder on the device, so that it opens without the network (HTTPS
// only). Scans never pass through here, and neither does what the page asks the API: that it keeps itself.
//
// `self.station` names the release, the page and its pieces. Each release has a shelf of its own, filled as a whole before it
// is used; the one before it stays for pages that are still open, older ones go. What carries its content's hash in its name
// comes from the shelf, everything else from the network first, and from the shelf where no good answer comes.

const { release, page, pieces } = self.station;
const NAME = "station-";
const SHELF = NAME + release;
const PATIENCE_MS = 4_000;
const NAMED_BY_CONTENT = /\.[0-9a-f]{12}\.\w+$/;

self.addEventListener("install", (event) => event.waitUntil(fill().then(() => self.skipWaiting())));
self.addEventListener("activate", (event) => event.waitUntil(prune().then(() => self.clients.claim())));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin) return;
  if (pathname === page && request.mode === "navigate") event.respondWith(openPage(request));
  else if (pathname.startsWith("/static/")) event.respondWith(openPiece(request, pathname));
});

async function fill() {
  const shelf = await caches.open(SHELF);
  await shelf.addAll(pieces.map((piece) => new Request(piece, { cache: "no-cache" })));
  await shelvePage(await fetch(page, { redirect: "manual", credentials: "same-origin" }));
}

async function prune() {
  const older = (await caches.keys()).filter((name) => name.startsWith(NAME) && name !== SHELF);
  await Promise.all(older.slice(0, -1).map((name) => caches.delete(name)));
}

async function kept(request) {
  const shelf = await caches.open(SHELF);
  return (await shelf.match(request)) ?? (await caches.match(request));
}

async function openPage(request) {
  const last = await kept(page);
  const response = await answer(request, last, { redirect: "manual" });
  if (response !== last) await shelvePage(response.clone());
  return response;
}

async function openPiece(request, pathname) {
  const last = await kept(request);
  if (last && NAMED_BY_CONTENT.test(pathname)) return last;
  const response = await answer(request, last);
  if (last && response !== last && response.status === 200) await (await caches.open(SHELF)).put(request, response.clone());
  return response;
}

// The network's answer; what is kept where that is an error of the server, or does not come in time.
async function answer(request, last, options = {}) {
  const patience = new AbortController();
  const timer = last ? setTimeout(() => patience.abort(), PATIENCE_MS) : null;
  try {
    const response = await fetch(request, { ...options, signal: patience.signal });
    return last && response.status >= 500 ? last : response;
  } catch (error) {
    if (last) return last;
    throw error;
  } finally {
    clearTimeout(timer);
  }
}

// A station's page is kept once every piece that it names is: never a page of one release with the pieces of another.
async function shelvePage(response) {
  if (response.status !== 200) return;
  const shelf = await caches.open(SHELF);
  const text = await response.clone().text();
  const named = [...text.matchAll(/"(\/static\/[^"]+)"/g)].map(([, url]) => url);
  const found = await Promise.all(named.map((url) => shelf.match(url)));
  if (text.includes('id="station-data"') && found.every(Boolean)) await shelf.put(page, response);
}
