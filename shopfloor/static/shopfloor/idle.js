// Who is badged in goes out after a while without a touch, a key or a scan. A warning comes first; any of these stays it.
// The time of the last one is kept, so that a page loaded again, or a tablet that slept, goes by it too.

export const IDLE_MINUTES = 15;
export const WARNING_MINUTES = 1;
const MINUTE_MS = 60_000;
const LOOK_MS = 1_000;
const NOTE_MS = 5_000;
const KEY = "active_at";

// Minutes since somebody did something here; 0 where that is not known or lies ahead, as by a clock set back.
function quietFor(at) {
  const since = Date.now() - at;
  return since > 0 ? since / MINUTE_MS : 0;
}

function keptTime() {
  try {
    return Number(localStorage.getItem(KEY)) || Date.now();
  } catch {
    return Date.now();
  }
}

// Whether the tablet was left alone before the page was loaded.
export const wasLeftAlone = quietFor(keptTime()) >= IDLE_MINUTES;

// Calls warn(), stay() and leave() as it comes to that, while isIn() says that somebody is badged in. Returns touch().
export function watchIdle({ isIn, warn, stay, leave }) {
  let last = Date.now();
  let noted = 0;
  let isWarned = false;

  function touch() {
    last = Date.now();
    if (isWarned) {
      isWarned = false;
      stay();
    }
    if (Math.abs(last - noted) < NOTE_MS) return;
    noted = last;
    try {
      localStorage.setItem(KEY, String(last));
    } catch {
      // it counts from when the page was loaded
    }
  }

  function look() {
    if (last > Date.now()) last = Date.now();
    const quiet = quietFor(last);
    if (!isIn()) {
      isWarned = false;
    } else if (quiet >= IDLE_MINUTES) {
      isWarned = false;
      leave();
    } else if (quiet >= IDLE_MINUTES - WARNING_MINUTES && !isWarned) {
      isWarned = true;
      warn();
    }
  }

  touch();
  for (const event of ["pointerdown", "keydown"]) addEventListener(event, touch, { capture: true });
  setInterval(look, LOOK_MS);
  return touch;
}
