// A second touch of the same within a second, by a trembling or a hasty hand, does nothing new.

const TWICE_MS = 1_000;
let last = { key: "", at: -Infinity };

export function isTwice(key) {
  const now = performance.now();
  const twice = last.key === key && now - last.at < TWICE_MS;
  if (!twice) last = { key, at: now };
  return twice;
}
