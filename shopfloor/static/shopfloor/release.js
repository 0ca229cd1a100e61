// The page loaded anew: its service worker, whether a newer release has come since, and where its token is gone.

const LOOK_MS = 60 * 60_000;
const RELOAD_MS = 300_000;
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

// The key is good and yet sending is refused: the page's CSRF token is gone. What is kept is on the device.
export function reloadOnce() {
  const last = Number(sessionStorage.getItem("reloaded") ?? 0);
  if (Date.now() - last < RELOAD_MS) return;
  sessionStorage.setItem("reloaded", String(Date.now()));
  location.reload();
}
