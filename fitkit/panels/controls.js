// Number boxes with their sliders, built from the list that the kernel sends.

import { figure } from "./drawing.js";
import { make } from "./elements.js";

let made = 0;

// One number box: a label, a slider, a text box with its unit, a place for its problem.
export class NumberBox {
  constructor(box, link, moved) {
    Object.assign(this, { box, link, moved });
    const id = `fitkit-box-${++made}`;
    this.slider = make("input", {
      type: "range", min: box.slider_low, max: box.slider_high, step: box.step,
      "aria-label": `${box.title} slider, ${box.unit}`,
      oninput: () => this.change(Number(this.slider.value)),
      onchange: () => link.settle(),
    });
    this.text = make("input", {
      id, type: "text", inputMode: "decimal", autocomplete: "off", spellcheck: false,
      "aria-describedby": `${id}-problem`,
      oninput: () => { this.edited = true; },
      onchange: () => this.typed(),
      onblur: () => this.typed(),
      onkeydown: (event) => this.key(event),
    });
    this.problem = make("p", { id: `${id}-problem`, className: "fk-problem", role: "alert" });
    this.element = make("div", { className: "fk-box", "data-box": box.name },
      make("label", { htmlFor: id, textContent: box.title, title: box.sense }),
      this.slider, this.text,
      make("span", { className: "fk-unit", textContent: box.unit }),
      make("span", { className: "fk-sense", textContent: box.sense }),
      this.problem);
  }

  change(value) {
    this.edited = false;
    this.text.value = value.toFixed(this.box.decimals);
    this.link.edit({ [this.box.name]: value });
    this.moved();
  }

  // Enter ends typing, even where it left the rounded figure that was shown: a maker who
  // types 0 means 0. Escape gives the typing up.
  key(event) {
    if (event.key === "Enter") this.typed();
    if (event.key === "Escape" && this.edited) {
      this.edited = false;
      this.text.value = this.told;
    }
  }

  typed() {
    if (!this.edited) return;
    this.edited = false;
    this.link.settle();
    this.link.edit({ [this.box.name]: this.text.value });
    this.link.settle();
    this.moved();
  }

  // Show what the kernel says, unless the maker is typing or has moved on since.
  show(state, unanswered) {
    const { name } = this.box;
    if (!(name in unanswered)) {
      this.told = state.typed[name];
      if (!this.edited) this.text.value = this.told;
      if (name in state.values) this.slider.value = state.values[name];
    }
    const problem = state.problems[name] ?? "";
    if (this.problem.textContent !== problem) this.problem.textContent = problem;
    this.text.setAttribute("aria-invalid", problem ? "true" : "false");
  }
}

// The table of ease by zone, the tightest first.
export class ZoneTable {
  constructor() {
    this.body = make("tbody");
    const heads = ["", "Zone", "Least", "Asked", "Spare", "Median"].map((words) =>
      make("th", { scope: "col", textContent: words }));
    this.element = make("table", { className: "fk-zones" },
      make("caption", { textContent: "Ease by zone, the tightest first [mm]" }),
      make("thead", {}, make("tr", {}, ...heads)), this.body);
  }

  show(zones) {
    this.body.replaceChildren(...zones.map((zone) => this.row(zone)));
  }

  row(zone) {
    const kind = zone.least_mm < 0 ? "clash" : zone.spare_mm < 0 ? "short" : "met";
    const sign = { clash: "✕", short: "!", met: "✓" }[kind];
    const words = { clash: "touches", short: "short", met: "as asked" }[kind];
    const loose = zone.loose_mm > 0.02;
    const median = figure(zone.median_mm) + (loose ? " ↑" : "");
    const title = loose ? `looser than the ${zone.most_mm} mm asked for its median` : "";
    return make("tr", { className: `fk-${kind}`, "data-zone": zone.zone },
      make("td", { className: "fk-sign", textContent: sign, title: words,
        "aria-label": words }),
      make("th", { scope: "row", textContent: zone.title }),
      make("td", { textContent: figure(zone.least_mm), "data-figure": "least" }),
      make("td", { textContent: figure(zone.asked_mm, 0) }),
      make("td", { textContent: signed(zone.spare_mm) }),
      make("td", { textContent: median, title }));
  }
}

function signed(value) {
  return (value < 0 ? "" : "+") + figure(value);
}
