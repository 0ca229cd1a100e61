// Short sounds: good is one short high tone, bad is two long low ones. Off until the first tap asks for them.

let context = null;

export function isOn() {
  return context !== null && context.state === "running";
}

export async function turn(on) {
  if (!on) {
    await context?.suspend();
    return;
  }
  const Context = window.AudioContext ?? window.webkitAudioContext;
  if (!Context) return;
  context ??= new Context();
  await context.resume();
}

const PATTERNS = {
  recorded: [[2600, 0, 0.09]],
  kept: [[1900, 0, 0.06]],
  already: [[1300, 0, 0.12], [1300, 0.2, 0.12]],
  refused: [[1000, 0, 0.32], [1000, 0.42, 0.32]],
};

export function play(result) {
  if (!isOn()) return;
  for (const [frequency, after, length] of PATTERNS[result] ?? []) {
    const tone = context.createOscillator();
    const loudness = context.createGain();
    tone.type = "square";
    tone.frequency.value = frequency;
    loudness.gain.value = 0.25;
    tone.connect(loudness).connect(context.destination);
    tone.start(context.currentTime + after);
    tone.stop(context.currentTime + after + length);
  }
}
