// The record form: boxes from the measures catalogue, how to take each, slips as typed.

import { begin, button, drawn, items, make } from "./elements.js";
import { Link } from "./link.js";

let made = 0;

class RecordForm {
  constructor(model, root) {
    Object.assign(this, { model, root, rows: {} });
    this.link = new Link(model, (silent) => this.silence(silent));
    this.fields = model.get("fields");
    this.build();
    this.onState = () => this.readState();
    model.on("change:state", this.onState);
    this.readState();
    this.link.shown(true);
  }

  end() {
    this.model.off("change:state", this.onState);
    this.link.end();
  }

  // -- building ----------------------------------------------------------------------

  build() {
    this.summary = make("output", { className: "fk-summary" });
    this.notice = make("p", { className: "fk-notice", role: "status" });
    this.general = make("ul", { className: "fk-problems", role: "alert" });
    this.guide = make("aside", { className: "fk-guide", "aria-live": "polite" });
    const groups = this.fields.groups.map((group) => this.buildGroup(group));
    begin(this.root, "record");
    this.root.replaceChildren(
      make("div", { className: "fk-form" },
        make("div", {}, ...groups, this.general, this.summary, this.buildFiles(), this.notice),
        this.guide));
    this.explain(this.fields.groups[1].boxes[0]);
  }

  buildGroup({ title, open, boxes }) {
    const rows = boxes.map((box) => this.buildRow(box));
    return make("details", { open, className: "fk-group" },
      make("summary", { textContent: title }), ...rows);
  }

  buildRow(box) {
    const id = `fitkit-record-${++made}`;
    const input = box.kind === "sex" ? sexChoice() : make("input", { type: "text" });
    Object.assign(input, { id, autocomplete: "off", spellcheck: false });
    input.setAttribute("aria-describedby", `${id}-said`);
    if (box.kind === "number") input.inputMode = "decimal";
    const note = make("span", { className: "fk-note" });
    const said = make("div", { id: `${id}-said`, className: "fk-said", role: "alert" });
    input.addEventListener("input", () => this.link.type(box.box, input.value));
    input.addEventListener("change", () => this.link.settle());
    input.addEventListener("focus", () => this.explain(box));
    const element = make("div", { className: "fk-row", "data-box": box.box },
      make("label", { htmlFor: id, textContent: box.title }), input,
      make("span", { className: "fk-unit", textContent: box.unit }), note, said);
    element.addEventListener("pointerenter", () => {
      if (!this.root.contains(document.activeElement)) this.explain(box);
    });
    this.rows[box.box] = { box, input, note, said };
    return element;
  }

  buildFiles() {
    this.file = make("input", { type: "text", "aria-label": "File name", spellcheck: false });
    this.file.addEventListener("input", () => { this.named = true; });
    const chooser = make("input", { type: "file", accept: ".json,application/json", hidden: true,
      onchange: () => this.openFile(chooser) });
    this.undo = button("Undo", () => this.link.ask("undo"));
    return make("div", { className: "fk-buttons" },
      button("Save the record", () => this.link.ask("save_record", { file: this.file.value }),
        { className: "fk-main" }),
      this.file, button("Open a record", () => chooser.click()), chooser, this.undo);
  }

  async openFile(chooser) {
    const [file] = chooser.files;
    chooser.value = "";
    if (!file) return;
    if (file.size > 1e6) {
      this.notice.textContent = "That file was not opened: a record is smaller than 1 MB.";
      return;
    }
    this.named = false;
    this.link.ask("open_record", { text: await file.text() });
  }

  // -- how to take a reading -----------------------------------------------------------

  explain(box) {
    if (this.explained === box) return;
    this.explained = box;
    const lines = [make("h4", { textContent: box.title })];
    if (box.picture) lines.push(this.picture(box.picture, box.title));
    if (box.how) lines.push(make("p", { textContent: box.how }));
    if (box.tool) lines.push(make("p", { className: "fk-soft", textContent: `With: ${box.tool}.` }));
    if (box.range) lines.push(make("p", { className: "fk-soft", textContent: `Accepted: ${box.range}.` }));
    this.guide.replaceChildren(...lines);
  }

  picture({ look, seen, hidden, ends }, title) {
    const head = this.fields.heads[look];
    const marks = ends.map(([cx, cy]) => drawn("circle", { cx, cy, r: 3.4, class: "fk-end" }));
    return drawn("svg", { viewBox: head.box.join(" "), role: "img", "aria-label": title },
      drawn("path", { d: head.path, class: "fk-head-line" }),
      drawn("path", { d: hidden, class: "fk-tape-hidden" }),
      drawn("path", { d: seen, class: "fk-tape" }), ...marks);
  }

  // -- states ------------------------------------------------------------------------

  silence(silent) {
    if (silent) {
      this.notice.textContent =
        "The kernel has not answered yet. If it was restarted, run the cells again.";
    }
  }

  readState() {
    const state = this.model.get("state");
    this.link.answered(state.answered);
    const waiting = this.link.untold();
    for (const [name, row] of Object.entries(this.rows)) {
      this.showRow(row, state.boxes[name], name in waiting);
    }
    this.general.replaceChildren(...items(state.general));
    this.summary.textContent = state.summary;
    this.summary.dataset.usable = state.usable;
    this.notice.textContent = state.message;
    if (!this.named) this.file.value = state.file;
  }

  showRow({ box, input, note, said }, { text, note: words, slips }, waiting) {
    if (!waiting && input.value.trim() !== text.trim()) input.value = text;
    note.textContent = words;
    const refused = slips.some((slip) => slip.severity === "refuse");
    input.setAttribute("aria-invalid", refused ? "true" : "false");
    const key = JSON.stringify(slips);
    if (said.dataset.key === key) return;
    said.dataset.key = key;
    said.replaceChildren(...slips.map((slip) => this.slip(box, slip)));
    if (refused) said.closest("details").open = true;
  }

  slip(box, { severity, message, mended }) {
    const line = make("p", { className: severity === "refuse" ? "fk-problem" : "fk-doubt" }, message);
    if (mended) {
      line.append(" ", button(`Use ${mended}`, () => {
        this.link.settle();
        this.link.type(box.box, mended);
        this.link.settle();
      }));
    }
    return line;
  }
}

function sexChoice() {
  const options = [["", "not stated"], ["female", "female"], ["male", "male"]];
  return make("select", {}, ...options.map(([value, textContent]) =>
    make("option", { value, textContent })));
}

export default {
  render({ model, el }) {
    const form = new RecordForm(model, el);
    return () => form.end();
  },
};
