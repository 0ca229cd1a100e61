// The page's service worker, and whether a newer release of the page has come since it was loaded.

const LOOK_MS = 60 * 60_000;
let isNewer = false;

export const hasNewer = () => isNewer;

// Where the browser allows it (HTTPS only); the page works without.
export async function keepPage(worker) {
  const workers = navigator.serviceWorker;
  if (!workers) return;
  if (workers.controller) workers.addEventListener("controllerchange", () => (isNewer = true));
  try {
    const kept = await workers.register(worker, { scope: "/station/" });
    setInterval(() => kept?.update().catch(() => {}), LOOK_MS);
  } catch {
    // the next load tries again
  }
}
