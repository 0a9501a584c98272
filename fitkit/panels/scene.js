// What the kernel sends, made ready to draw.

import { Body } from "./cutting.js";

export function floats(view) {
  return new Float32Array(view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength));
}

export function readScene(message) {
  const bodies = (message.bodies ?? []).map((body) => new Body({
    ...body,
    points: floats(body.points),
    faces: new Uint32Array(floats(body.faces).buffer),
    lift: body.lift ? floats(body.lift) : null,
  }));
  const zone = message.zone?.byteLength ? new Int8Array(message.zone.buffer.slice(
    message.zone.byteOffset, message.zone.byteOffset + message.zone.byteLength)) : null;
  return { ...message, bodies, zone };
}

// Colours are set in the style sheet, for light and dark.
export function coloursOf(root) {
  const style = getComputedStyle(root);
  const names = ["ink", "soft", "paper", "head", "hair", "wall", "wallEdge", "inner", "plane",
    "sight", "clash", "short", "met", "none"];
  return Object.fromEntries(names.map((name) => [name, style.getPropertyValue(`--fk-${name}`)]));
}
