// Keeps the station's page, its scripts and its drawings on the device, so that it opens without the network (HTTPS only).
// Pages and data come from the network first; what is kept is used only when no answer comes. Scans never pass through here.

const SHELF = "station-1";
const PATIENCE_MS = 4_000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => {
  const old = caches.keys().then((names) => Promise.all(names.filter((name) => name !== SHELF).map((name) => caches.delete(name))));
  event.waitUntil(old.then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin) return;
  if (pathname === "/station/" || pathname.startsWith("/static/")) event.respondWith(networkFirst(request));
});

async function networkFirst(request) {
  const shelf = await caches.open(SHELF);
  const kept = await shelf.match(request);
  const patience = new AbortController();
  const timer = kept ? setTimeout(() => patience.abort(), PATIENCE_MS) : null;
  try {
    const response = await fetch(request, request.mode === "navigate" ? { redirect: "manual", signal: patience.signal } : { signal: patience.signal });
    if (response.status === 200) await shelf.put(request, response.clone());
    return response;
  } catch (error) {
    if (kept) return kept;
    throw error;
  } finally {
    clearTimeout(timer);
  }
}
