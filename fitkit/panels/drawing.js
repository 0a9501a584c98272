// Draw one section on a canvas: walls, head, ease by colour and by kind of line, figures.

import { STILL, cut, carried } from "./cutting.js";

// The three sections: axis they cut, axes drawn to the right and up, and their signs.
export const VIEWS = [
  { name: "side", box: "side_cut_mm", axis: 0, seen: "from the wearer's right",
    across: 1, flip: 1, up: 2, left: "back", right: "front" },
  { name: "front", box: "front_cut_mm", axis: 1, seen: "from ahead",
    across: 0, flip: -1, up: 2, left: "wearer's right", right: "left" },
  { name: "top", box: "top_cut_mm", axis: 2, seen: "from above",
    across: 0, flip: 1, up: 1, left: "wearer's left", right: "right" },
];

// How each class of ease is drawn; told apart by line as well as by colour.
export const CLASSES = {
  clash: { words: "touches: the wall presses in", width: 4.5, dash: [], ticks: true },
  short: { words: "less than asked", width: 4, dash: [7, 3], ticks: false },
  met: { words: "as asked or more", width: 2, dash: [], ticks: false },
  none: { words: "neck: nothing asked", width: 1, dash: [], ticks: false },
};

export function easeClass(ease, asked) {
  if (Number.isNaN(ease)) return "none";
  if (ease < 0) return "clash";
  return ease < asked ? "short" : "met";
}

// A figure in millimetres for people.
export function figure(value, decimals = 1) {
  return value.toFixed(decimals).replace(/^-(?=0*\.?0*$)/, "").replace("-", "−");
}

// A canvas with its scale: `window` is [left, bottom, right, top] in drawn millimetres.
export class Sheet {
  constructor(canvas, view) {
    Object.assign(this, { canvas, view, ctx: canvas.getContext("2d") });
  }

  fit(window) {
    const ratio = globalThis.devicePixelRatio || 1;
    const width = this.canvas.clientWidth;
    this.window = window;
    this.scale = width / (window[2] - window[0]);
    const height = Math.round(this.scale * (window[3] - window[1]));
    this.canvas.style.height = `${height}px`;
    const pixels = [Math.round(width * ratio), Math.round(height * ratio)];
    if (this.canvas.width !== pixels[0]) this.canvas.width = pixels[0];
    if (this.canvas.height !== pixels[1]) this.canvas.height = pixels[1];
    this.ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.ctx.clearRect(0, 0, width, height);
    this.size = [width, height];
  }

  x(mm) {
    return (mm * this.view.flip - this.window[0]) * this.scale;
  }

  y(mm) {
    return (this.window[3] - mm) * this.scale;
  }

  // Pixel to millimetres along the two drawn axes.
  mm(px, py) {
    const across = (px / this.scale + this.window[0]) * this.view.flip;
    return [across, this.window[3] - py / this.scale];
  }

  path(lines) {
    const { ctx } = this;
    ctx.beginPath();
    for (const { at, closed } of lines) {
      ctx.moveTo(this.x(at[0]), this.y(at[1]));
      for (let k = 2; k < at.length; k += 2) ctx.lineTo(this.x(at[k]), this.y(at[k + 1]));
      if (closed) ctx.closePath();
    }
  }

  stroke(colour, width, dash = []) {
    const { ctx } = this;
    Object.assign(ctx, { strokeStyle: colour, lineWidth: width, lineJoin: "round" });
    ctx.setLineDash(dash);
    ctx.stroke();
    ctx.setLineDash([]);
  }

  text(words, px, py, colour, { align = "center", bold = false, back = null } = {}) {
    const { ctx } = this;
    ctx.font = `${bold ? "600 " : ""}12px system-ui, sans-serif`;
    Object.assign(ctx, { textAlign: align, textBaseline: "middle", fillStyle: colour });
    if (back) {
      Object.assign(ctx, { strokeStyle: back, lineWidth: 4, lineJoin: "round" });
      ctx.strokeText(words, px, py);
    }
    ctx.fillText(words, px, py);
  }
}

// Draw everything that one view shows; gives the crossings of the head for the pointer.
export function drawSection(sheet, scene, shown) {
  const { view } = sheet, { colours } = shown;
  const lines = cutAll(scene, view, shown);
  drawWalls(sheet, lines, colours);
  const outline = measured(lines.head ?? [], scene, shown);
  drawHead(sheet, lines, outline, shown);
  drawMarks(sheet, scene, shown);
  drawPlanes(sheet, shown);
  drawFrame(sheet, colours);
  return outline;
}

function cutAll(scene, view, shown) {
  const lines = {};
  for (const body of scene.bodies) {
    if (body.moves !== "head" && !shown.maps) continue;
    const map = body.moves === "head" ? STILL : shown.maps[body.moves];
    const found = cut(body, map, view.axis, shown.values[view.box]);
    lines[body.role] = (lines[body.role] ?? []).concat(found);
  }
  return lines;
}

function drawWalls(sheet, lines, colours) {
  if (lines.wall) {
    sheet.path(lines.wall.filter((line) => line.closed));
    sheet.ctx.fillStyle = colours.wall;
    sheet.ctx.fill("nonzero");
    sheet.path(lines.wall);
    sheet.stroke(colours.wallEdge, 1);
  }
  if (lines.inner) {
    sheet.path(lines.inner);
    sheet.stroke(colours.inner, 1.5);
  }
}

// Ease at every crossing of the head's outline.
function measured(lines, { zone }, { ease, asked }) {
  return lines.map((line) => {
    const count = line.share.length, gaps = new Float32Array(count), kinds = [], zones = [];
    for (let k = 0; k < count; k++) {
      const u = line.ends[2 * k], v = line.ends[2 * k + 1], t = line.share[k];
      const index = zone[t < 0.5 ? u : v];
      gaps[k] = ease && index >= 0 ? ease[u] * (1 - t) + ease[v] * t : NaN;
      zones.push(index);
      kinds.push(easeClass(gaps[k], index >= 0 ? asked[index] : 0));
    }
    return { ...line, gaps, kinds, zones };
  });
}

function drawHead(sheet, lines, outline, { colours, ease }) {
  sheet.path(outline);
  sheet.ctx.fillStyle = colours.head;
  sheet.ctx.fill("nonzero");
  if (lines.hair) {
    sheet.path(lines.hair);
    sheet.stroke(colours.hair, 1.2, [2, 3]);
  }
  sheet.path(outline);
  sheet.stroke(colours.none, ease ? CLASSES.none.width : 1.5);
  if (!ease) return;
  for (const kind of ["met", "short", "clash"]) {
    const runs = outline.flatMap((line) => runsOf(line, kind));
    sheet.path(runs);
    sheet.stroke(colours[kind], CLASSES[kind].width, CLASSES[kind].dash);
    if (CLASSES[kind].ticks) runs.forEach((run) => drawTicks(sheet, run, colours[kind]));
  }
  drawFigures(sheet, outline, colours);
}

// Stretches of an outline that are of one class, each drawn one step further to close up.
function runsOf({ at, kinds, closed }, kind) {
  const runs = [], count = kinds.length;
  let run = null;
  for (let k = 0; k < count + (closed ? 1 : 0); k++) {
    const here = k % count;
    if (kinds[here] === kind && run === null) run = [];
    if (run) run.push(at[2 * here], at[2 * here + 1]);
    if (run && (kinds[here] !== kind || k === count - (closed ? 0 : 1))) {
      if (run.length > 2) runs.push({ at: run, closed: false });
      run = null;
    }
  }
  return runs;
}

// Short strokes across a line, so that a clash is seen without its colour.
function drawTicks(sheet, { at }, colour) {
  const { ctx } = sheet;
  ctx.beginPath();
  let since = 4;
  for (let k = 2; k < at.length; k += 2) {
    const x0 = sheet.x(at[k - 2]), y0 = sheet.y(at[k - 1]);
    const dx = sheet.x(at[k]) - x0, dy = sheet.y(at[k + 1]) - y0;
    const step = Math.hypot(dx, dy);
    if (step === 0) continue;
    for (; since < step; since += 7) {
      const x = x0 + (dx / step) * since, y = y0 + (dy / step) * since;
      ctx.moveTo(x - (dy / step) * 6, y + (dx / step) * 6);
      ctx.lineTo(x + (dy / step) * 6, y - (dx / step) * 6);
    }
    since -= step;
  }
  sheet.stroke(colour, 1.2);
}

// The least ease of each zone on this cut, in millimetres, inside the outline.
function drawFigures(sheet, outline, colours) {
  const placed = [];
  for (const spot of tightSpots(outline)) {
    const [right, down] = inward(spot, sheet.view.flip);
    const x = sheet.x(spot.at[0]), y = sheet.y(spot.at[1]);
    const tx = x + right * 20, ty = y + down * 15;
    if (placed.some(([px, py]) => Math.abs(px - tx) < 30 && Math.abs(py - ty) < 15)) continue;
    placed.push([tx, ty]);
    sheet.ctx.beginPath();
    sheet.ctx.arc(x, y, 3, 0, 7);
    sheet.ctx.fillStyle = colours[spot.kind];
    sheet.ctx.fill();
    const bold = spot.kind !== "met";
    sheet.text(figure(spot.gap), tx, ty, colours.ink, { bold, back: colours.head });
  }
}

// Tightest crossing of each zone on the outline, the tightest first.
function tightSpots(outline) {
  const least = new Map();
  outline.forEach((line) => {
    line.gaps.forEach((gap, k) => {
      const known = least.get(line.zones[k]);
      if (Number.isNaN(gap) || (known && known.gap <= gap)) return;
      least.set(line.zones[k], { gap, line, k });
    });
  });
  return [...least.values()].sort((a, b) => a.gap - b.gap).map(({ gap, line, k }) => {
    const at = [line.at[2 * k], line.at[2 * k + 1]];
    return { gap, at, line, kind: line.kinds[k] };
  });
}

// Way from a spot on an outline to the outline's middle: right and down, unit length.
function inward({ line, at: [x, y] }, flip) {
  let mx = 0, my = 0;
  for (let k = 0; k < line.at.length; k += 2) {
    mx += line.at[k];
    my += line.at[k + 1];
  }
  const dx = flip * ((2 * mx) / line.at.length - x), dy = (2 * my) / line.at.length - y;
  const length = Math.hypot(dx, dy) || 1;
  return [dx / length, -dy / length];
}

// Line of sight, hinge and chin pole, seen through.
function drawMarks(sheet, scene, { colours, maps }) {
  const { view, ctx } = sheet;
  const place = (point) => [sheet.x(point[view.across]), sheet.y(point[view.up])];
  for (const [name, point] of Object.entries(scene.marks)) {
    const [x, y] = place(point);
    if (name.endsWith("pupil") && view.name !== "front") {
      ctx.beginPath();
      ctx.moveTo(x, y);
      const ahead = [...point];
      ahead[1] += 400;
      ctx.lineTo(...place(ahead));
      sheet.stroke(colours.sight, 1, [1, 4]);
    }
    if (name.endsWith("pupil")) ring(sheet, x, y, 3, colours.sight);
    if (name === "chin pole" && view.name === "side" && scene.hinge) {
      cross(sheet, x, y, colours.sight);
      sheet.text("chin pole", x - 8, y + 12, colours.soft, { align: "left" });
    }
  }
  if (scene.hinge && maps && view.name === "side") {
    const ends = scene.hinge.map((end) => carried(maps.piece, end));
    const [x, y] = place(ends[0].map((value, k) => (value + ends[1][k]) / 2));
    ring(sheet, x, y, 5, colours.ink);
    sheet.text("hinge", x - 10, y, colours.soft, { align: "right" });
  }
}

function ring(sheet, x, y, radius, colour) {
  sheet.ctx.beginPath();
  sheet.ctx.arc(x, y, radius, 0, 7);
  sheet.stroke(colour, 1.5);
}

function cross(sheet, x, y, colour) {
  const { ctx } = sheet;
  ctx.beginPath();
  for (const [dx, dy] of [[5, 0], [0, 5]]) {
    ctx.moveTo(x - dx, y - dy);
    ctx.lineTo(x + dx, y + dy);
  }
  sheet.stroke(colour, 1.5);
}

// Where the two other sections cut, with a handle to drag.
function drawPlanes(sheet, { colours, values, dragged }) {
  const { ctx, size } = sheet;
  for (const plane of planesIn(sheet.view)) {
    const strong = dragged === plane.box;
    ctx.beginPath();
    const at = plane.upright ? sheet.x(values[plane.box]) : sheet.y(values[plane.box]);
    if (plane.upright) {
      ctx.moveTo(at, 0);
      ctx.lineTo(at, size[1]);
    } else {
      ctx.moveTo(0, at);
      ctx.lineTo(size[0], at);
    }
    sheet.stroke(colours.plane, strong ? 2 : 1, [10, 4, 2, 4]);
    drawGrip(sheet, plane, at, colours);
  }
}

// A tab at the edge by which a plane is dragged, with its name.
function drawGrip(sheet, { name, upright }, at, colours) {
  const { ctx } = sheet, words = `${name} cut`;
  const width = 8 + 6 * words.length;
  const [x, y] = upright ? [at - width / 2, 0] : [0, at - 8];
  ctx.fillStyle = colours.paper;
  ctx.beginPath();
  ctx.rect(x, y, width, 16);
  ctx.fill();
  sheet.stroke(colours.plane, 1);
  sheet.text(words, x + width / 2, y + 8.5, colours.plane);
}

// The planes of the other sections, as lines of this one.
export function planesIn(view) {
  return VIEWS.filter((other) => other !== view).map((other) => ({
    name: other.name, box: other.box, upright: other.axis === view.across,
  }));
}

function drawFrame(sheet, colours) {
  const [width, height] = sheet.size, { view, ctx, scale } = sheet;
  sheet.text(view.left, 6, height - 10, colours.soft, { align: "left" });
  sheet.text(view.right, width - 6, height - 10, colours.soft, { align: "right" });
  const bar = 50 * scale, x = width - 10 - bar;
  ctx.beginPath();
  ctx.moveTo(x, 8);
  ctx.lineTo(x, 14);
  ctx.lineTo(x + bar, 14);
  ctx.lineTo(x + bar, 8);
  sheet.stroke(colours.soft, 1);
  sheet.text("50 mm", x + bar / 2, 24, colours.soft);
}
