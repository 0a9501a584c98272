// Head and piece in the round, drawn by WebGL; says why not where there is none.

import { jawMap, pieceMap, STILL } from "./cutting.js";
import { VIEWS } from "./drawing.js";
import { begin, button, make } from "./elements.js";
import { Link } from "./link.js";
import { coloursOf, floats, readScene } from "./scene.js";

const NO_WEBGL = "This browser draws no WebGL, so there is no view in the round here. "
  + "Everything else works without it: see the sections.";

const VERTEX = `#version 300 es
in vec3 point; in vec3 normal; in float ease; in float asked;
uniform mat3 grow; uniform mat3 turn; uniform vec3 shift;
uniform mat3 look; uniform vec3 middle; uniform vec2 zoom;
out vec3 at; out vec3 facing; out float spare; out float gap;
void main() {
  at = grow * point + shift;
  facing = look * (turn * normal);
  gap = ease; spare = ease - asked;
  vec3 seen = look * (at - middle);
  gl_Position = vec4(seen.xy * zoom, -seen.z / 2000.0, 1.0);
}`;

const FRAGMENT = `#version 300 es
precision highp float;
in vec3 at; in vec3 facing; in float spare; in float gap;
uniform vec3 plain; uniform vec3 met; uniform vec3 lacking; uniform vec3 clash;
uniform float measured; uniform float alpha; uniform vec4 plane;
out vec4 colour;
void main() {
  if (dot(plane.xyz, at) > plane.w) discard;
  vec3 base = plain;
  float stripe = mod(gl_FragCoord.x + gl_FragCoord.y, 8.0);
  if (measured > 0.5 && gap < 500.0) {
    base = mix(plain, met, 0.55);
    if (spare < 0.0) base = mod(gl_FragCoord.y, 6.0) < 2.0 ? mix(plain, lacking, 0.35) : lacking;
    if (gap < 0.0) base = stripe < 4.0 ? clash * 0.7 : clash;
  }
  float light = abs(normalize(facing).z);
  colour = vec4(base * (0.45 + 0.6 * light), alpha);
}`;

// Standard looks: turned about up from ahead, and raised. [deg]
const LOOKS = { Turned: [40, 12], Front: [0, 0], Side: [90, 0], Back: [180, 0], Top: [0, 89] };

// A plane that cuts nothing.
const NOWHERE = [0, 0, 0, 1e9];

class Solid {
  constructor(model, root) {
    Object.assign(this, { model, root, turned: 40, raised: 12, zoom: 1 });
    this.link = new Link(model, () => {});
    this.build();
    this.gl = this.canvas.getContext("webgl2", { antialias: true, alpha: false });
    this.onState = () => this.readState();
    this.onScene = () => this.readScene();
    model.on("change:state", this.onState);
    model.on("change:scene", this.onScene);
    if (this.gl) this.prepare();
    else this.refuse();
    this.readScene();
    this.readState();
    this.link.shown(true);
  }

  end() {
    this.model.off("change:state", this.onState);
    this.model.off("change:scene", this.onScene);
    this.sized.disconnect();
    this.themed.disconnect();
    cancelAnimationFrame(this.frame);
    this.link.end();
    this.gl?.getExtension("WEBGL_lose_context")?.loseContext();
  }

  // -- building ----------------------------------------------------------------------

  build() {
    const redraw = () => this.redraw();
    this.canvas = make("canvas", { tabIndex: 0, role: "img", className: "fk-solid" });
    this.canvas.setAttribute("aria-label",
      "Head and piece in the round. Arrow keys turn it, plus and minus zoom.");
    this.piece = choice("Piece", [["through", "see-through"], ["full", "full"], ["none", "left out"]],
      redraw);
    this.open = choice("Cut open", [["", "nowhere"], ...VIEWS.map((view) =>
      [view.name, `at the ${view.name} cut`])], redraw);
    this.notice = make("p", { className: "fk-notice", role: "status" });
    const looks = Object.entries(LOOKS).map(([name, [turned, raised]]) =>
      button(name, () => { Object.assign(this, { turned, raised }); this.redraw(); }));
    begin(this.root, "solid");
    this.root.replaceChildren(
      make("div", { className: "fk-buttons" }, ...looks, this.piece, this.open),
      this.canvas, this.notice);
    this.sized = new ResizeObserver(redraw);
    this.sized.observe(this.canvas);
    this.themed = new MutationObserver(redraw);
    this.themed.observe(document.body, { attributes: true });
    this.listen();
  }

  listen() {
    const { canvas } = this;
    canvas.addEventListener("pointerdown", (event) => canvas.setPointerCapture(event.pointerId));
    canvas.addEventListener("pointermove", (event) => {
      if (event.buttons) this.turn(event.movementX * 0.5, event.movementY * 0.5);
    });
    canvas.addEventListener("wheel", (event) => {
      if (document.activeElement !== canvas && !event.ctrlKey) return;
      event.preventDefault();
      this.scale(Math.exp(-event.deltaY / 500));
    }, { passive: false });
    canvas.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: [-5, 0], ArrowRight: [5, 0], ArrowUp: [0, -5], ArrowDown: [0, 5] };
      if (step[event.key]) this.turn(...step[event.key]);
      else if (event.key === "+" || event.key === "-") this.scale(event.key === "+" ? 1.1 : 1 / 1.1);
      else return;
      event.preventDefault();
      event.stopPropagation();
    });
    canvas.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      this.notice.textContent = "The view in the round was lost: run its cell again.";
    });
  }

  turn(right, down) {
    this.turned -= right;
    this.raised = Math.min(89, Math.max(-89, this.raised + down));
    this.redraw();
  }

  scale(factor) {
    this.zoom = Math.min(6, Math.max(0.3, this.zoom * factor));
    this.redraw();
  }

  refuse() {
    this.canvas.hidden = true;
    this.notice.textContent = NO_WEBGL;
  }

  // -- states ------------------------------------------------------------------------

  readScene() {
    this.scene = readScene(this.model.get("scene"));
    if (this.gl) this.buffers = this.scene.bodies
      .filter((body) => body.role === "head" || body.role === "wall")
      .map((body) => this.upload(body));
    this.redraw();
  }

  readState() {
    this.state = this.model.get("state");
    this.link.answered(this.state.answered);
    this.redraw();
  }

  // -- drawing -----------------------------------------------------------------------

  prepare() {
    const { gl } = this;
    const program = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) {
      throw new Error(gl.getProgramInfoLog(program));
    }
    this.program = program;
    this.places = {};
    for (const name of ["grow", "turn", "shift", "look", "middle", "zoom", "plain", "met", "lacking",
      "clash", "measured", "alpha", "plane"]) {
      this.places[name] = gl.getUniformLocation(program, name);
    }
  }

  upload(body) {
    const { gl } = this;
    const array = gl.createVertexArray();
    gl.bindVertexArray(array);
    this.attribute("point", body.points, 3);
    this.attribute("normal", normals(body), 3);
    const index = gl.createBuffer();
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, index);
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, body.faces, gl.STATIC_DRAW);
    const known = { body, array, count: body.faces.length };
    if (body.role === "head") {
      for (const name of ["ease", "asked"]) {
        known[name] = this.attribute(name, new Float32Array(body.points.length / 3), 1);
      }
    }
    gl.bindVertexArray(null);
    return known;
  }

  attribute(name, values, size) {
    const { gl } = this, place = gl.getAttribLocation(this.program, name);
    const buffer = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    gl.bufferData(gl.ARRAY_BUFFER, values, gl.DYNAMIC_DRAW);
    gl.enableVertexAttribArray(place);
    gl.vertexAttribPointer(place, size, gl.FLOAT, false, 0, 0);
    return buffer;
  }

  // Ease and what was asked, at each head vertex; far off where nothing is asked.
  measure({ ease: easeBuffer, asked: askedBuffer }) {
    const { gl, state, scene } = this;
    const gaps = state.ease?.byteLength ? floats(state.ease).map((gap) =>
      (Number.isNaN(gap) ? 1000 : gap)) : null;
    if (!gaps || !scene.zone || gaps.length !== scene.zone.length) return false;
    const asked = Float32Array.from(scene.zone, (zone) => (zone < 0 ? 0 : state.asked[zone]));
    for (const [buffer, values] of [[easeBuffer, gaps], [askedBuffer, asked]]) {
      gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
      gl.bufferData(gl.ARRAY_BUFFER, values, gl.DYNAMIC_DRAW);
    }
    return true;
  }

  redraw() {
    cancelAnimationFrame(this.frame);
    this.frame = requestAnimationFrame(() => this.draw());
  }

  draw() {
    const { gl, state, scene, canvas } = this;
    if (!gl || !state || !this.buffers || !canvas.clientWidth) return;
    const ratio = globalThis.devicePixelRatio || 1;
    canvas.width = Math.max(1, canvas.clientWidth * ratio);
    canvas.height = Math.max(1, canvas.clientHeight * ratio);
    gl.viewport(0, 0, canvas.width, canvas.height);
    const colours = coloursOf(this.root);
    gl.clearColor(...rgb(colours.paper), 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    gl.useProgram(this.program);
    const plane = this.setLook();
    gl.uniform4fv(this.places.plane, NOWHERE);
    for (const [name, colour] of [["met", "met"], ["lacking", "short"], ["clash", "clash"]]) {
      gl.uniform3fv(this.places[name], rgb(colours[colour]));
    }
    const piece = state.placed ? pieceMap(state.values) : null;
    const maps = { head: STILL, piece, jaw: piece && jawMap(piece, scene.hinge, state.values.jaw_open_deg) };
    for (const one of this.buffers) {
      if (one.body.role === "head") this.drawBody(one, STILL, rgb(colours.head), 1, this.measure(one));
    }
    const how = this.piece.querySelector("select").value;
    if (!piece || how === "none") return;
    gl.uniform4fv(this.places.plane, plane);
    gl.depthMask(how === "full");
    if (how === "through") gl.enable(gl.BLEND);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
    for (const one of this.buffers.filter(({ body }) => body.role === "wall")) {
      this.drawBody(one, maps[one.body.moves], rgb(colours.wall), how === "full" ? 1 : 0.22, false);
    }
    gl.depthMask(true);
    gl.disable(gl.BLEND);
  }

  // Set how the head is looked at; gives the plane beyond which the piece is cut off.
  setLook() {
    const { gl, canvas } = this, rad = Math.PI / 180;
    const [s, c] = [Math.sin(this.turned * rad), Math.cos(this.turned * rad)];
    const [u, v] = [Math.sin(this.raised * rad), Math.cos(this.raised * rad)];
    const toward = [s * v, c * v, u], across = [-c, s, 0];
    const upward = [-s * u, -c * u, v];
    gl.uniformMatrix3fv(this.places.look, true, [...across, ...upward, ...toward]);
    const [low, high] = this.scene.box ?? [[-80, -110, -130], [80, 110, 130]];
    gl.uniform3fv(this.places.middle, low.map((value, k) => (value + high[k]) / 2));
    const half = 190 / this.zoom;
    gl.uniform2f(this.places.zoom, canvas.height / canvas.width / half, 1 / half);
    const view = VIEWS.find((one) => one.name === this.open.querySelector("select").value);
    const plane = [...NOWHERE];
    if (view) {
      const way = toward[view.axis] >= 0 ? 1 : -1;
      plane[view.axis] = way;
      plane[3] = way * this.state.values[view.box];
    }
    return plane;
  }

  drawBody({ array, count }, map, plain, alpha, measured) {
    const { gl, places } = this;
    gl.bindVertexArray(array);
    gl.uniformMatrix3fv(places.grow, true, map.grow);
    gl.uniformMatrix3fv(places.turn, true, map.turn);
    gl.uniform3fv(places.shift, map.shift);
    gl.uniform3fv(places.plain, plain);
    gl.uniform1f(places.alpha, alpha);
    gl.uniform1f(places.measured, measured ? 1 : 0);
    gl.drawElements(gl.TRIANGLES, count, gl.UNSIGNED_INT, 0);
    gl.bindVertexArray(null);
  }
}

// Unit normal at each vertex, by area.
function normals({ points, faces }) {
  const total = new Float32Array(points.length);
  for (let at = 0; at < faces.length; at += 3) {
    const [i, j, k] = [3 * faces[at], 3 * faces[at + 1], 3 * faces[at + 2]];
    const ax = points[j] - points[i], ay = points[j + 1] - points[i + 1], az = points[j + 2] - points[i + 2];
    const bx = points[k] - points[i], by = points[k + 1] - points[i + 1], bz = points[k + 2] - points[i + 2];
    const nx = ay * bz - az * by, ny = az * bx - ax * bz, nz = ax * by - ay * bx;
    for (const v of [i, j, k]) {
      total[v] += nx;
      total[v + 1] += ny;
      total[v + 2] += nz;
    }
  }
  for (let at = 0; at < total.length; at += 3) {
    const length = Math.hypot(total[at], total[at + 1], total[at + 2]) || 1;
    for (let k = 0; k < 3; k++) total[at + k] /= length;
  }
  return total;
}

function rgb(colour) {
  const value = parseInt(colour.trim().slice(1), 16);
  return [(value >> 16) / 255, ((value >> 8) & 255) / 255, (value & 255) / 255];
}

function choice(title, options, onchange) {
  const select = make("select", { onchange }, ...options.map(([value, textContent]) =>
    make("option", { value, textContent })));
  return make("label", {}, `${title} `, select);
}

export default {
  render({ model, el }) {
    const solid = new Solid(model, el);
    return () => solid.end();
  },
};
