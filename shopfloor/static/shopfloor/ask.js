// A question to the server: its answer as data, or null where none comes in time or it is no good one.

const PATIENCE_MS = 8_000;

export async function get(url, report = {}) {
  const patience = new AbortController();
  const timer = setTimeout(() => patience.abort(), PATIENCE_MS);
  try {
    const response = await fetch(url, { headers: { ...report, Accept: "application/json" }, signal: patience.signal, redirect: "error" });
    return response.ok ? await response.json() : null;
  } catch {
    return null;
  } finally {
    clearTimeout(timer);
  }
}
