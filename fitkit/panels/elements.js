// Elements of a page, made in one line; text is always set as text.

// Begin a panel on its root: its looks, its name, and its keys. Keys stay in the panel,
// where plain letters would cut and delete cells of the notebook; but for those with Ctrl
// or Cmd outside of text, such as the one that saves.
export function begin(root, name) {
  root.classList.add("fk");
  root.dataset.panel = name;
  root.addEventListener("keydown", (event) => {
    const text = event.target.matches('input[type="text"]');
    if (text || !(event.ctrlKey || event.metaKey)) event.stopPropagation();
  });
}

// A small element maker: tag, properties, children.
export function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name in element && name !== "list") element[name] = value;
    else element.setAttribute(name, value);
  }
  element.append(...children);
  return element;
}

export function button(words, onclick, properties = {}) {
  return make("button", { type: "button", textContent: words, onclick, ...properties });
}

export function items(all) {
  return all.map((words) => make("li", { textContent: words }));
}

// The first few of many lines, and how many more there are.
export function few(all, most) {
  if (all.length <= most) return all;
  return [...all.slice(0, most - 1), `and ${all.length - most + 1} more`];
}

// An element of an SVG picture.
export function drawn(tag, attributes, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}
