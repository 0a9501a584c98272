// Pad sets put aside, side by side: what each gives and costs, with a picture of each.

import { begin, button, items, make } from "./elements.js";
import { Link } from "./link.js";

let made = 0;

class Pads {
  constructor(model, root) {
    Object.assign(this, { model, root, pictures: [] });
    this.link = new Link(model, (silent) => this.silence(silent));
    this.fields = model.get("fields");
    this.build();
    this.onState = () => this.readState();
    this.onShown = () => this.readShown();
    model.on("change:state", this.onState);
    model.on("change:shown", this.onShown);
    this.readShown();
    this.readState();
    this.link.shown(true);
  }

  end() {
    this.model.off("change:state", this.onState);
    this.model.off("change:shown", this.onShown);
    this.forgetPictures();
    this.link.end();
  }

  build() {
    const { foams, layouts, start } = this.fields;
    this.boxes = {
      foam: choice(Object.entries(foams)),
      layout: choice(layouts.map((name) => [name, name])),
      squeeze_percent: typed(start.squeeze_percent, 4),
      sheets_mm: typed(start.sheets_mm, 9),
      wall_g_cm3: typed(start.wall_g_cm3, 4),
      name: typed("", 14),
    };
    this.boxes.name.placeholder = "name";
    this.compare = button("Compare", () => this.link.ask("compare"), { className: "fk-main" });
    this.stop = button("Stop", () => this.link.ask("stop"));
    this.notice = make("span", { className: "fk-notice", role: "status" });
    this.problem = make("p", { className: "fk-problem", role: "alert" });
    this.cards = make("div", { className: "fk-cards" });
    begin(this.root, "pads");
    this.root.replaceChildren(
      make("div", { className: "fk-buttons fk-pad-boxes" },
        labelled("Foam", this.boxes.foam), labelled("Layout", this.boxes.layout),
        labelled("Pressed by, %", this.boxes.squeeze_percent),
        labelled("Sheets on the shelf, mm", this.boxes.sheets_mm),
        labelled("Wall, g/cm³", this.boxes.wall_g_cm3), labelled("Name", this.boxes.name),
        button("Put this set aside", () => this.keep())),
      make("div", { className: "fk-buttons" }, this.compare, this.stop, this.notice),
      this.problem, this.cards);
  }

  keep() {
    const boxes = Object.entries(this.boxes).map(([name, box]) => [name, box.value]);
    this.link.ask("keep_pads", Object.fromEntries(boxes));
    this.boxes.name.value = "";
  }

  silence(silent) {
    if (!silent) return;
    this.notice.textContent =
      "The kernel has not answered yet. If it was restarted, run the cells again.";
  }

  readState() {
    const { answered, stage, words, problem, ready } = this.model.get("state");
    this.link.answered(answered);
    this.compare.disabled = !ready || stage === "working";
    this.stop.hidden = stage !== "working";
    this.notice.textContent = words;
    this.problem.textContent = problem;
  }

  // -- the sets --------------------------------------------------------------------------

  readShown() {
    this.forgetPictures();
    const { cards } = this.model.get("shown");
    this.cards.replaceChildren(...cards.map((card, place) => this.card(card, place)));
  }

  card({ name, asked, verdict, good, known, figures, cautions, picture }, place) {
    const state = known ? (good ? "fits" : "misses") : "none";
    return make("article", { className: "fk-card", "data-pads": name },
      make("b", { textContent: name }), make("span", { className: "fk-soft", textContent: asked }),
      make("output", { className: "fk-verdict", textContent: verdict, "data-verdict": state }),
      ...(picture.byteLength ? [this.picture(picture, name)] : []),
      make("table", { className: "fk-figures fk-titled" }, ...figures.map(([title, text]) =>
        make("tr", {}, make("th", { scope: "row", textContent: title }),
          make("td", { textContent: text })))),
      make("ul", { className: "fk-doubts" }, ...items(cautions)),
      make("div", { className: "fk-buttons" },
        button("Drop it", () => this.link.ask("drop_pads", { place }))));
  }

  picture(data, name) {
    const address = URL.createObjectURL(new Blob([data], { type: "image/png" }));
    this.pictures.push(address);
    return make("figure", {},
      make("img", { src: address, alt: `Pressure on the head on ${name}, from four sides` }),
      make("figcaption", { className: "fk-soft", textContent: this.fields.caption }));
  }

  forgetPictures() {
    this.pictures.forEach((address) => URL.revokeObjectURL(address));
    this.pictures = [];
  }
}

function choice(options) {
  return make("select", {}, ...options.map(([value, textContent]) =>
    make("option", { value, textContent })));
}

function typed(value, size) {
  return make("input", { type: "text", value, size, autocomplete: "off", spellcheck: false });
}

function labelled(words, box) {
  box.id = `fitkit-pads-${++made}`;
  return make("span", { className: "fk-labelled" },
    make("label", { htmlFor: box.id, textContent: words }), box);
}

export default {
  render({ model, el }) {
    const panel = new Pads(model, el);
    return () => panel.end();
  },
};
