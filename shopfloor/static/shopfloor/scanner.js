// The camera as a scanner: the code under the centre mark counts, no other. Where a page gets no camera (plain http), a photo.

import { say } from "./language.js";

const WIDE = 1920;
const PAUSE_MS = 80;

// From the codes found in a picture the one nearest to its middle, if it is under the mark.
export function underMark(codes, width, height) {
  const reach = Math.min(width, height) / 3;
  const away = ({ cx, cy }) => Math.hypot(cx - width / 2, cy - height / 2);
  const nearest = [...codes].sort((one, other) => away(one) - away(other))[0];
  return nearest && away(nearest) <= reach ? nearest.text : null;
}

export class Scanner {
  constructor({ decoderUrl, wasmUrl, video, tell }) {
    this.decoderUrl = decoderUrl;
    this.wasmUrl = wasmUrl;
    this.video = video;
    this.tell = tell;
    this.decoder = null;
    this.stream = null;
    this.round = 0;
  }

  get hasCamera() {
    return Boolean(navigator.mediaDevices?.getUserMedia);
  }

  async #decoder() {
    this.decoder ??= import(this.decoderUrl).then(({ openDecoder }) => openDecoder(this.wasmUrl));
    this.decoder.catch(() => (this.decoder = null));
    return this.decoder;
  }

  // Looks until a code is under the mark, or stop() is called; resolves with its text or null.
  async look() {
    const round = ++this.round;
    if (!this.hasCamera) {
      this.tell(say("This page gets no camera here. Take a photo of the code."));
      return null;
    }
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({
        audio: false,
        video: { facingMode: "environment", width: { ideal: WIDE } },
      });
    } catch {
      this.tell(say("The camera did not open. Allow it, or take a photo of the code."));
      return null;
    }
    if (round !== this.round) {
      this.stop();
      return null;
    }
    this.video.srcObject = this.stream;
    await this.video.play();
    this.tell(say("Hold the code under the mark."));
    let decoder;
    try {
      decoder = await this.#decoder();
    } catch {
      this.tell(say("The reader did not load. Type the code instead."));
      return null;
    }
    while (round === this.round) {
      const { videoWidth, videoHeight } = this.video;
      const codes = videoWidth ? await decoder.detect(this.video).catch(() => []) : [];
      const text = underMark(codes, videoWidth, videoHeight);
      if (text && round === this.round) {
        this.stop();
        return text;
      }
      await new Promise((resolve) => setTimeout(resolve, PAUSE_MS));
    }
    return null;
  }

  // The code in a photo: the one nearest to its middle.
  async readPhoto(file) {
    this.tell(say("Reading the photo."));
    try {
      const decoder = await this.#decoder();
      const picture = await createImageBitmap(file);
      const codes = await decoder.detect(picture);
      const text = underMark(codes, picture.width, picture.height) ?? (codes.length === 1 ? codes[0].text : null);
      picture.close();
      if (!text) this.tell(say("There is no code in the middle of that photo. Go closer, or type the code."));
      return text;
    } catch {
      this.tell(say("That photo could not be read. Type the code instead."));
      return null;
    }
  }

  stop() {
    this.round += 1;
    for (const track of this.stream?.getTracks() ?? []) track.stop();
    this.stream = null;
    this.video.srcObject = null;
  }
}
