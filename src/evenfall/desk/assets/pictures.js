/**
 * Canvases that show what the desk develops: codes as they are, without an encoding in between.
 *
 * @typedef {import("./types.js").Head} Head
 */

/**
 * Put codes on a canvas.
 *
 * @param {HTMLCanvasElement} canvas
 * @param {Head} head
 * @param {Uint8ClampedArray<ArrayBuffer>} codes
 */
export function paint(canvas, head, codes) {
  if (canvas.width !== head.width || canvas.height !== head.height) {
    canvas.width = head.width;
    canvas.height = head.height;
  }
  const context = canvas.getContext("2d", { alpha: false });
  if (!context) return;
  context.putImageData(new ImageData(codes, head.width, head.height), 0, 0);
  canvas.dataset.size = head.size;
  canvas.dataset.version = String(head.version);
  canvas.dataset.number = String(head.number);
  canvas.dataset.mood = head.mood;
}

/** Call something when what was drawn has been painted. @param {() => void} then */
export function afterPaint(then) {
  requestAnimationFrame(() => {
    const channel = new MessageChannel();
    channel.port1.onmessage = then;
    channel.port2.postMessage(0);
  });
}
