// One question about the present placement: asked when the maker wants it, its answer
// gone as soon as the fit is another.

import { begin, button, items, make } from "./elements.js";
import { Link } from "./link.js";

// Quiet after the last change until a question that follows the fit is asked again. [ms]
const SETTLED_MS = 1200;

class QuestionPanel {
  constructor(model, root) {
    Object.assign(this, { model, root, pictures: [] });
    this.link = new Link(model, (silent) => this.silence(silent));
    this.build();
    this.onState = () => this.readState();
    this.onPart = () => this.readPart();
    model.on("change:state", this.onState);
    model.on("change:part", this.onPart);
    this.readPart();
    this.readState();
    this.link.shown(true);
  }

  end() {
    this.model.off("change:state", this.onState);
    this.model.off("change:part", this.onPart);
    clearTimeout(this.settling);
    this.forgetPictures();
    this.link.end();
  }

  build() {
    this.title = make("b", { className: "fk-question" });
    this.start = button("Answer it", () => this.link.ask("ask"), { className: "fk-main" });
    this.stop = button("Stop", () => this.link.ask("stop"));
    this.follow = make("input", { type: "checkbox", onchange: () => this.settle() });
    this.notice = make("span", { className: "fk-notice", role: "status" });
    this.answer = make("div", { className: "fk-part", "aria-live": "polite" });
    this.problem = make("p", { className: "fk-problem", role: "alert" });
    begin(this.root, this.model.get("state").name);
    this.root.replaceChildren(
      make("div", { className: "fk-buttons" }, this.title, this.start, this.stop,
        make("label", {}, this.follow, " again whenever the fit is another"), this.notice),
      this.answer, this.problem);
  }

  // Without a kernel no old answer stays; it comes back with the kernel's word.
  silence(silent) {
    if (!silent && this.silent) this.readPart();
    this.silent = silent;
    if (!silent) return;
    this.notice.textContent =
      "The kernel has not answered yet. If it was restarted, run the cells again.";
    this.answer.replaceChildren();
  }

  readState() {
    this.state = this.model.get("state");
    this.link.answered(this.state.answered);
    const working = this.state.stage === "working";
    this.title.textContent = this.state.question;
    this.start.disabled = !this.state.ready || working;
    this.stop.hidden = !working;
    this.notice.textContent = this.state.words;
    this.problem.textContent = this.state.problem;
    this.root.dataset.stage = this.state.stage;
    this.settle();
  }

  // Ask again, once nothing has moved for a while, if the maker wants that.
  settle() {
    clearTimeout(this.settling);
    if (!this.follow.checked || !this.state.ready || this.state.stage !== "idle") return;
    this.settling = setTimeout(() => this.link.ask("ask"), SETTLED_MS);
  }

  // -- the answer ----------------------------------------------------------------------

  readPart() {
    const part = this.model.get("part");
    this.forgetPictures();
    this.answer.replaceChildren(
      ...(part.sentences.length ? [make("ul", {}, ...items(part.sentences))] : []),
      ...(part.cautions.length ? [cautions(part.cautions)] : []),
      make("div", { className: "fk-shown" }, ...part.pictures.map((one) => this.picture(one))),
      ...part.tables.map(table));
  }

  picture({ type, data, alternative, caption }) {
    const address = URL.createObjectURL(new Blob([data], { type }));
    this.pictures.push(address);
    return make("figure", {},
      make("img", { src: address, alt: alternative }),
      make("figcaption", { textContent: caption }));
  }

  forgetPictures() {
    this.pictures.forEach((address) => URL.revokeObjectURL(address));
    this.pictures = [];
  }
}

function cautions(all) {
  return make("div", { className: "fk-cautions" },
    make("b", { textContent: "Cautions" }), make("ul", {}, ...items(all)));
}

function table({ title, heads, text, rows }) {
  const kind = (place) => (text[place] ? "fk-words" : "");
  const head = heads.map((words, place) =>
    make("th", { scope: "col", textContent: words, className: kind(place) }));
  const body = rows.map((row) => make("tr", {}, ...row.map((words, place) =>
    make("td", { textContent: words, className: kind(place) }))));
  return make("details", {}, make("summary", { textContent: title }),
    make("div", { className: "fk-scroll" },
      make("table", { className: "fk-figures" }, make("thead", {}, make("tr", {}, ...head)),
        make("tbody", {}, ...body))));
}

export default {
  render({ model, el }) {
    const panel = new QuestionPanel(model, el);
    return () => panel.end();
  },
};
