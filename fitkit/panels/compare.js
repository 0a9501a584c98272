// Placements put aside, side by side: verdict, figures and a picture of each.

import { begin, button, drawn, items, make } from "./elements.js";
import { Link } from "./link.js";

class Compare {
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
    this.name = make("input", { type: "text", placeholder: "name", "aria-label": "Name to keep it by" });
    this.keep = button("Keep the present placement", () => {
      this.link.ask("keep", { name: this.name.value });
      this.name.value = "";
    }, { className: "fk-main" });
    this.cards = make("div", { className: "fk-cards" });
    this.notice = make("p", { className: "fk-notice", role: "status" });
    begin(this.root, "compare");
    this.root.replaceChildren(
      make("div", { className: "fk-buttons" }, this.keep, this.name), this.cards, this.notice);
  }

  silence(silent) {
    if (silent) this.notice.textContent = "Still waiting for the kernel.";
  }

  readState() {
    const { answered, cards, ready, message } = this.model.get("state");
    this.link.answered(answered);
    this.keep.disabled = !ready;
    this.notice.textContent = message;
    const wanted = JSON.stringify(cards);
    if (wanted === this.shown) return;
    this.shown = wanted;
    this.cards.replaceChildren(...cards.map((card, place) => this.card(card, place)));
    for (const svg of this.cards.querySelectorAll("svg")) frame(svg);
  }

  card({ name, verdict, fits, lines, head, wall }, place) {
    return make("article", { className: "fk-card", "data-kept": name },
      make("b", { textContent: name }),
      make("output", { className: "fk-verdict", textContent: verdict,
        "data-verdict": fits ? "fits" : "misses" }),
      drawn("svg", { role: "img", "aria-label": `${name}, cut at the midplane` },
        drawn("path", { d: wall, class: "fk-kept-wall" }),
        drawn("path", { d: head, class: "fk-kept-head" })),
      make("ul", {}, ...items(lines)),
      make("div", { className: "fk-buttons" },
        button("Go back to it", () => this.link.ask("go_back_to", { place })),
        button("Drop it", () => this.link.ask("drop", { place }))));
  }
}

function frame(svg) {
  const box = svg.getBBox();
  svg.setAttribute("viewBox", `${box.x - 4} ${box.y - 4} ${box.width + 8} ${box.height + 8}`);
}

export default {
  render({ model, el }) {
    const panel = new Compare(model, el);
    return () => panel.end();
  },
};
