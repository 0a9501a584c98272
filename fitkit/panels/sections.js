// The panel of three linked sections: the pointer moves planes and piece here, at once;
// the kernel answers with ease and verdict.

import { carried, jawMap, pieceMap } from "./cutting.js";
import { CLASSES, Sheet, VIEWS, drawSection, figure, planesIn } from "./drawing.js";
import { coloursOf, floats, readScene } from "./scene.js";
import { NumberBox, ZoneTable } from "./controls.js";
import { begin, button, few, items, make } from "./elements.js";
import { Link } from "./link.js";

// Room around the head in every section. [mm]
const ROOM_MM = 62;
// A plane is caught by the pointer within this many pixels.
const CATCH_PX = 9;
// Quiet after the last change until the longer answers are asked for. [ms]
const SETTLED_MS = 700;

class SectionsPanel {
  constructor(model, root) {
    Object.assign(this, { model, root });
    this.link = new Link(model, (silent) => this.silence(silent));
    this.boxes = {};
    for (const box of model.get("boxes")) {
      this.boxes[box.name] = new NumberBox(box, this.link, () => this.moved());
    }
    this.build();
    this.listen();
    this.readScene();
    this.readState();
    this.link.shown(true);
  }

  // -- building ----------------------------------------------------------------------

  build() {
    this.verdict = make("output", { className: "fk-verdict" });
    this.reasons = make("ul", { className: "fk-reasons" });
    this.notice = make("p", { className: "fk-notice", role: "status" });
    this.problems = make("ul", { className: "fk-problems", role: "alert" });
    this.views = VIEWS.map((view) => this.buildView(view));
    this.table = new ZoneTable();
    this.checks = make("dl", { className: "fk-checks" });
    this.closer = make("div", { className: "fk-closer" });
    begin(this.root, "sections");
    this.root.replaceChildren(
      make("header", {}, this.verdict, this.reasons, this.notice, this.problems),
      make("div", { className: "fk-views" }, ...this.views.map((view) => view.element)),
      this.buildLegend(),
      make("div", { className: "fk-columns" }, this.buildControls(),
        make("section", {}, this.table.element, this.checks)));
  }

  buildView(view) {
    const canvas = make("canvas", { tabIndex: 0, role: "img" });
    const readout = make("span", { className: "fk-readout" });
    const title = `${view.name[0].toUpperCase()}${view.name.slice(1)}`;
    const element = make("figure", { className: "fk-view", "data-view": view.name },
      make("figcaption", {}, make("b", { textContent: title }), ` ${view.seen}`, readout),
      canvas, this.boxes[view.box].element);
    return { view, canvas, readout, element, sheet: new Sheet(canvas, view), outline: [] };
  }

  buildLegend() {
    const items = ["clash", "short", "met"].map((kind) => make("li", { className: `fk-${kind}` },
      make("span", { className: "fk-line" }), CLASSES[kind].words));
    for (const [name, words] of [["wall", "wall as drawn"], ["inner", "finished inner wall"],
      ["hair", "hair"], ["plane", "where the other sections cut: drag them"]]) {
      items.push(make("li", { className: `fk-${name}` },
        make("span", { className: "fk-line" }), words));
    }
    return make("ul", { className: "fk-legend" }, ...items);
  }

  buildControls() {
    const all = this.model.get("boxes");
    const group = (name) => all.filter((box) => box.group === name)
      .map((box) => this.boxes[box.name].element);
    const ask = (command) => () => this.command(command);
    this.undo = button("Undo", ask("undo"));
    this.redo = button("Redo", ask("redo"));
    this.start = button("Ask the solver", ask("start_solver"), { className: "fk-main" });
    this.stop = button("Stop", ask("stop_solver"));
    this.take = button("Take it", ask("take"), { className: "fk-main" });
    this.leave = button("Leave it", ask("leave"));
    this.solving = make("p", { className: "fk-solving", role: "status" });
    this.offer = make("ul", { className: "fk-offer" });
    this.whole = make("input", { type: "checkbox", onchange: () => this.redraw() });
    this.jaw = make("div", {}, ...group("jaw"));
    return make("section", { className: "fk-controls" }, ...group("place"), this.jaw,
      make("div", { className: "fk-buttons" }, this.undo, this.redo,
        make("label", {}, this.whole, " whole piece in view")),
      make("div", { className: "fk-buttons" }, this.start, this.stop, this.take, this.leave),
      this.solving, this.offer,
      make("details", {}, make("summary", { textContent: "More moves" }), ...group("more")),
      make("details", { className: "fk-asked" },
        make("summary", { textContent: "What is asked: least ease by zone, and limits" }),
        ...group("ask")),
      this.closer);
  }

  // -- listening ---------------------------------------------------------------------

  listen() {
    this.onState = () => this.readState();
    this.onScene = () => this.readScene();
    this.model.on("change:state", this.onState);
    this.model.on("change:scene", this.onScene);
    this.sized = new ResizeObserver(() => this.redraw());
    this.views.forEach((view) => {
      this.sized.observe(view.element);
      this.listenToPointer(view);
    });
    this.themed = new MutationObserver(() => this.redraw());
    this.themed.observe(document.body, { attributes: true });
  }

  end() {
    this.model.off("change:state", this.onState);
    this.model.off("change:scene", this.onScene);
    this.sized.disconnect();
    this.themed.disconnect();
    this.link.end();
    clearTimeout(this.settling);
    cancelAnimationFrame(this.frame);
  }

  listenToPointer(shown) {
    const { canvas, view } = shown;
    const at = (event) => [event.offsetX, event.offsetY];
    canvas.addEventListener("pointerdown", (event) => {
      this.dragged = this.planeAt(shown, at(event));
      if (this.dragged) canvas.setPointerCapture(event.pointerId);
    });
    canvas.addEventListener("pointermove", (event) => {
      if (this.dragged) this.dragTo(shown, at(event));
      else this.pointAt(shown, at(event));
    });
    const drop = () => {
      if (this.dragged) this.link.settle();
      this.dragged = null;
      this.redraw();
    };
    canvas.addEventListener("pointerup", drop);
    canvas.addEventListener("pointercancel", drop);
    canvas.addEventListener("pointerleave", () => { shown.readout.textContent = ""; });
    canvas.addEventListener("keydown", (event) => this.stepPlane(view, event));
  }

  planeAt({ sheet, view }, [px, py]) {
    const values = this.values();
    const near = planesIn(view).map((plane) => {
      const off = plane.upright ? sheet.x(values[plane.box]) - px : sheet.y(values[plane.box]) - py;
      return { box: plane.box, upright: plane.upright, off: Math.abs(off) };
    }).filter((plane) => plane.off < CATCH_PX).sort((a, b) => a.off - b.off)[0];
    return near ?? null;
  }

  dragTo({ sheet }, [px, py]) {
    const [across, up] = sheet.mm(px, py);
    const { box } = this.boxes[this.dragged.box];
    const to = this.dragged.upright ? across : up;
    const value = Math.min(Math.max(to, box.slider_low), box.slider_high);
    this.boxes[this.dragged.box].change(Math.round(value / box.step) * box.step);
  }

  // Arrow keys on a section move its own plane: up or right towards plus.
  stepPlane(view, event) {
    const step = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    event.stopPropagation();
    this.boxes[view.box].change(this.values()[view.box] + step * (event.shiftKey ? 10 : 1));
  }

  // Say the ease where the pointer is nearest to the head's outline.
  pointAt(shown, [px, py]) {
    const { sheet, outline, canvas } = shown;
    const plane = this.planeAt(shown, [px, py]);
    canvas.style.cursor = plane ? (plane.upright ? "ew-resize" : "ns-resize") : "crosshair";
    let best = { off: 14 };
    for (const line of outline) {
      for (let k = 0; k < line.gaps.length; k++) {
        const off = Math.hypot(sheet.x(line.at[2 * k]) - px, sheet.y(line.at[2 * k + 1]) - py);
        if (off < best.off && !Number.isNaN(line.gaps[k])) {
          best = { off, gap: line.gaps[k], zone: line.zones[k] };
        }
      }
    }
    const title = this.model.get("zone_titles")[best.zone];
    shown.readout.textContent = title ? `${title}: ${figure(best.gap)} mm` : "";
  }

  command(name) {
    this.link.settle();
    this.link.ask(name);
    this.link.settle();
  }

  // -- states ------------------------------------------------------------------------

  readScene() {
    this.scene = readScene(this.model.get("scene"));
    this.jaw.hidden = !this.scene.hinge;
    this.redraw();
  }

  readState() {
    this.state = this.model.get("state");
    const bytes = this.state.ease;
    this.ease = bytes?.byteLength ? floats(bytes) : null;
    this.link.answered(this.state.answered);
    this.show();
    this.redraw();
    this.settle();
  }

  // Ask how sure the answer is, once nothing has moved for a while.
  settle() {
    clearTimeout(this.settling);
    if (!this.state.verdict || this.state.closer) return;
    this.settling = setTimeout(() => this.link.ask("look_closer"), SETTLED_MS);
  }

  silence(silent) {
    this.silent = silent;
    this.show();
  }

  moved() {
    clearTimeout(this.settling);
    this.redraw();
  }

  // Numbers as the maker sees them now: the kernel's, and what it has not answered yet.
  values() {
    const values = { ...this.state.values };
    for (const [name, value] of Object.entries(this.link.unanswered())) {
      if (typeof value === "number") values[name] = value;
    }
    return values;
  }

  show() {
    const { state } = this, waiting = this.link.unanswered();
    for (const box of Object.values(this.boxes)) box.show(state, waiting);
    const answer = this.silent ? { ...state, ...NO_ANSWER } : state;
    this.verdict.textContent = answer.verdict || "No answer";
    this.verdict.dataset.verdict = answer.verdict ? (answer.fits ? "fits" : "misses") : "none";
    this.reasons.replaceChildren(...items(few(answer.reasons, 6)));
    this.notice.textContent = this.silent
      ? "The kernel has not answered yet. If it was restarted, run the cells again."
      : state.missing || state.message;
    this.problems.replaceChildren(...items(this.otherProblems()));
    this.table.show(answer.zones);
    this.checks.replaceChildren(...answer.checks.flatMap(({ title, text }) => [
      make("dt", { textContent: title }), make("dd", { textContent: text })]));
    this.showCloser(answer.closer);
    this.showSolving(state);
  }

  // Problems that belong to no box of this panel.
  otherProblems() {
    return Object.entries(this.state.problems)
      .filter(([name]) => !(name in this.boxes)).map(([, words]) => words);
  }

  showCloser(closer) {
    if (!closer) {
      this.closer.replaceChildren();
      return;
    }
    this.closer.replaceChildren(
      make("h4", { textContent: "How sure" }), make("p", { textContent: closer.sure }),
      make("p", { textContent: closer.narrow }),
      make("h4", { textContent: "What to do" }), make("ul", {}, ...items(closer.changes)),
      make("details", {}, make("summary", { textContent: "Cautions" }),
        make("ul", {}, ...items(closer.cautions))));
  }

  showSolving({ solving, can_solve, can_undo, can_redo }) {
    const running = solving.stage === "running", offered = solving.stage === "offer";
    this.start.disabled = !can_solve || running;
    this.undo.disabled = !can_undo;
    this.redo.disabled = !can_redo;
    this.stop.hidden = !running;
    this.take.hidden = this.leave.hidden = !offered;
    this.solving.textContent = solving.words;
    this.offer.replaceChildren(...items(few(solving.offer, 6)));
  }

  // -- drawing -----------------------------------------------------------------------

  redraw() {
    cancelAnimationFrame(this.frame);
    this.frame = requestAnimationFrame(() => this.draw());
  }

  draw() {
    if (!this.state || !this.scene || !this.root.clientWidth) return;
    const began = performance.now();
    const values = this.values();
    const { placed, asked } = this.state;
    const piece = placed ? pieceMap(values) : null;
    const maps = piece && { piece, jaw: jawMap(piece, this.scene.hinge, values.jaw_open_deg) };
    const colours = coloursOf(this.root);
    const ease = placed && !this.silent ? this.ease : null;
    const shown = { values, maps, ease, asked, colours, dragged: this.dragged?.box };
    const [from, to] = this.extent(maps);
    for (const one of this.views) {
      one.sheet.fit(windowOf(one.view, from, to));
      one.element.style.flexGrow = Math.round(one.sheet.window[2] - one.sheet.window[0]);
      one.outline = drawSection(one.sheet, this.scene, shown);
      this.describe(one);
    }
    this.root.dataset.frameMs = (performance.now() - began).toFixed(2);
  }

  // Corners of what is shown: the head with room around it, or the whole piece.
  extent(maps) {
    const [low, high] = this.scene.box ?? [[-80, -110, -130], [80, 110, 130]];
    const from = low.map((value) => value - ROOM_MM), to = high.map((value) => value + ROOM_MM);
    if (!this.whole.checked || !maps) return [from, to];
    for (const body of this.scene.bodies.filter((one) => one.role === "wall")) {
      for (let s = 0; s < body.runs.length; s += 4) {
        const at = carried(maps[body.moves], body.runs.slice(s, s + 3));
        for (let k = 0; k < 3; k++) {
          from[k] = Math.min(from[k], at[k] - body.runs[s + 3] - 5);
          to[k] = Math.max(to[k], at[k] + body.runs[s + 3] + 5);
        }
      }
    }
    return [from, to];
  }

  // The section in words, for those who do not see it.
  describe({ view, canvas, outline }) {
    let least = null;
    for (const { gaps, zones } of outline) {
      gaps.forEach((gap, k) => {
        if (gap < (least?.gap ?? Infinity)) least = { gap, zone: zones[k] };
      });
    }
    const where = `${view.name} section at ${figure(this.values()[view.box] ?? NaN)} mm`;
    const title = least && this.model.get("zone_titles")[least.zone];
    const words = least ? `least ease on it ${figure(least.gap)} mm, ${title}` : "no ease known";
    const label = `${where}: ${words}. Arrow keys move the cut.`;
    if (canvas.getAttribute("aria-label") !== label) canvas.setAttribute("aria-label", label);
  }
}

// The window of one section; all three are equally high, so that they share one scale.
function windowOf({ across, up, flip }, from, to) {
  const sides = [from[across] * flip, to[across] * flip].sort((a, b) => a - b);
  const height = Math.max(to[1] - from[1], to[2] - from[2]);
  const middle = (from[up] + to[up]) / 2;
  return [sides[0], middle - height / 2, sides[1], middle + height / 2];
}

const NO_ANSWER = { verdict: "", fits: false, reasons: [], zones: [], checks: [], closer: null };

export default {
  render({ model, el }) {
    const panel = new SectionsPanel(model, el);
    return () => panel.end();
  },
};
