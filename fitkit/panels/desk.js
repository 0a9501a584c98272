// The desk: which piece, what was found in it, its openings, and the files of a session.

import { begin, button, drawn, items, make } from "./elements.js";
import { Link } from "./link.js";

class Desk {
  constructor(model, root) {
    Object.assign(this, { model, root });
    this.link = new Link(model, (silent) => this.silence(silent));
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

  build() {
    this.piece = make("select", { "aria-label": "Piece",
      onchange: () => this.ask("use_piece", { file: this.piece.value }) });
    this.problem = make("p", { className: "fk-problem", role: "alert" });
    this.facts = make("dl", { className: "fk-checks" });
    this.found = make("ul", { className: "fk-found" });
    this.openings = make("table", { className: "fk-openings" });
    this.picture = make("div", { className: "fk-picture" });
    this.file = make("input", { type: "text", "aria-label": "File of the session",
      oninput: () => { this.named = true; } });
    this.sessions = make("select", { "aria-label": "Saved sessions" });
    this.report = button("Write the report", () => this.ask("write_report"));
    this.notice = make("p", { className: "fk-notice", role: "status" });
    begin(this.root, "desk");
    this.root.replaceChildren(
      make("div", { className: "fk-columns" },
        make("section", {},
          make("div", { className: "fk-buttons" }, make("b", { textContent: "Piece" }), this.piece),
          this.problem, this.facts, this.found),
        make("section", {},
          make("b", { textContent: "Openings" }), this.picture, this.openings)),
      make("div", { className: "fk-buttons" },
        make("b", { textContent: "Session" }),
        button("Save", () => this.ask("save", { file: this.file.value }), { className: "fk-main" }),
        this.file, this.sessions,
        button("Open", () => this.ask("open", { file: this.sessions.value })), this.report),
      this.notice);
  }

  ask(command, details) {
    this.notice.textContent = "Working on it.";
    this.link.ask(command, details);
  }

  silence(silent) {
    if (silent) this.notice.textContent = "Still waiting for the kernel.";
  }

  readState() {
    const state = this.model.get("state");
    this.link.answered(state.answered);
    choices(this.piece, ["", ...state.pieces], state.piece, "choose a piece");
    choices(this.sessions, state.sessions, this.sessions.value, "none saved yet");
    this.problem.textContent = state.problem;
    this.facts.replaceChildren(...state.facts.flatMap(([title, text]) => [
      make("dt", { textContent: title }), make("dd", { textContent: text })]));
    this.found.replaceChildren(...items(state.found),
      ...state.mended.map((words) => make("li", { className: "fk-soft", textContent: words })));
    this.showOpenings(state);
    if (!this.named) this.file.value = state.file;
    this.report.disabled = !state.ready;
    this.notice.textContent = state.message;
  }

  showOpenings({ openings, choices: names, outline }) {
    if (JSON.stringify(openings) === this.shownOpenings) return;
    this.shownOpenings = JSON.stringify(openings);
    const rows = openings.map((opening, place) => {
      const select = make("select", { "aria-label": `What ${opening.name} is`,
        onchange: () => this.ask("name_opening", { place, choice: select.value }) });
      for (const [value, textContent] of Object.entries(names)) {
        select.append(make("option", { value, textContent }));
      }
      select.value = opening.choice;
      return make("tr", { tabIndex: -1, "data-opening": opening.name,
        onpointerenter: () => this.pick(opening.name),
        onfocusin: () => this.pick(opening.name) },
      make("td", {}, select), make("td", { textContent: opening.words }));
    });
    this.openings.replaceChildren(...rows);
    this.drawOpenings(openings, outline);
  }

  drawOpenings(openings, outline) {
    if (!outline) {
      this.picture.replaceChildren();
      return;
    }
    const rims = openings.map(({ name, path }) => {
      const rim = drawn("path", { d: path, class: "fk-rim", "data-rim": name });
      rim.addEventListener("pointerenter", () => this.pick(name));
      rim.addEventListener("click", () => this.rowOf(name)?.querySelector("select").focus());
      return rim;
    });
    const shape = drawn("path", { d: outline, class: "fk-shape" });
    const svg = drawn("svg", { role: "img", "aria-label": "Openings seen from ahead" }, shape, ...rims);
    this.picture.replaceChildren(svg);
    const box = svg.getBBox();
    svg.setAttribute("viewBox", `${box.x - 4} ${box.y - 4} ${box.width + 8} ${box.height + 8}`);
  }

  rowOf(name) {
    return [...this.openings.rows].find((row) => row.dataset.opening === name);
  }

  // Show one opening in the picture and in the table.
  pick(name) {
    for (const row of this.openings.rows) {
      row.classList.toggle("fk-picked", row.dataset.opening === name);
    }
    for (const rim of this.picture.querySelectorAll("[data-rim]")) {
      rim.classList.toggle("fk-picked", rim.dataset.rim === name);
    }
  }
}

function choices(select, values, chosen, empty) {
  const wanted = JSON.stringify(values);
  if (select.dataset.values !== wanted) {
    select.dataset.values = wanted;
    const all = values.length ? values : [""];
    select.replaceChildren(...all.map((value) =>
      make("option", { value, textContent: value || empty })));
  }
  select.value = values.includes(chosen) ? chosen : values[0] ?? "";
}

export default {
  render({ model, el }) {
    const desk = new Desk(model, el);
    return () => desk.end();
  },
};
