/* Reads codes out of pictures: one decoder, the same in every browser, with its program from our own server.

   const decoder = await openDecoder(video.dataset.wasm);     // {% static 'shared/vendor/zxing-wasm-3.1.3.reader.wasm' %}
   const found = await decoder.detect(video);                 // video, image, canvas, ImageBitmap, ImageData or Blob
   found: [{text, format, cx, cy, box: {x, y, width, height}, corners: [{x, y}, …]}] in the picture's own pixels,
   the code whose middle is nearest to the picture's middle first: the operator aims, so that is the one meant.

   The page needs 'wasm-unsafe-eval' in script-src (in a view: response.allows_wasm = True). */

import { BarcodeDetector, prepareZXingModule } from "./vendor/barcode-detector-3.2.2/ponyfill.js";

const FORMATS = ["qr_code"];

export async function openDecoder(wasmUrl, formats = FORMATS) {
  if (!wasmUrl) throw new Error("openDecoder needs the address of the wasm file");
  await prepareZXingModule({
    overrides: { locateFile: (path, prefix) => (path.endsWith(".wasm") ? wasmUrl : prefix + path) },
    fireImmediately: true,
  });
  const detector = new BarcodeDetector({ formats });

  return {
    async detect(imageSource) {
      const found = await detector.detect(imageSource);
      const [middleX, middleY] = middleOf(imageSource);
      const codes = found.map((code) => {
        const { x, y, width, height } = code.boundingBox;
        const corners = code.cornerPoints.map((point) => ({ x: point.x, y: point.y }));
        const cx = corners.reduce((sum, point) => sum + point.x, 0) / corners.length;
        const cy = corners.reduce((sum, point) => sum + point.y, 0) / corners.length;
        return { text: code.rawValue, format: code.format, cx, cy, box: { x, y, width, height }, corners };
      });
      const distance = (code) => Math.hypot(code.cx - middleX, code.cy - middleY);
      return Number.isFinite(middleX) ? codes.sort((a, b) => distance(a) - distance(b)) : codes;
    },
  };
}

function middleOf(source) {
  const width = source.videoWidth ?? source.naturalWidth ?? source.displayWidth ?? source.width;
  const height = source.videoHeight ?? source.naturalHeight ?? source.displayHeight ?? source.height;
  return typeof width === "number" && typeof height === "number" ? [width / 2, height / 2] : [NaN, NaN];
}
