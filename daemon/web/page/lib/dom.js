// Small helpers over the document: making elements, and changing only what differs, so
// that focus, selections and live regions are left in peace.

// h makes an element. Properties: class, text, on (a map of event handlers), data (a map of
// data-* values); anything else becomes an attribute, and is left out when false or null.
export function h(tag, props = {}, ...children) {
  return fill(document.createElement(tag), props, children);
}

// svg makes an element of a drawing.
export function svg(tag, props = {}, ...children) {
  return fill(document.createElementNS("http://www.w3.org/2000/svg", tag), props, children);
}

function fill(element, props, children) {
  for (const [name, value] of Object.entries(props)) {
    if (value === false || value === null || value === undefined) continue;
    if (name === "class") element.setAttribute("class", value);
    else if (name === "text") element.textContent = value;
    else if (name === "on") for (const [event, f] of Object.entries(value)) element.addEventListener(event, f);
    else if (name === "data") Object.assign(element.dataset, value);
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat().filter((c) => c !== null && c !== undefined && c !== false));
  return element;
}

// setText changes an element's text only when it differs.
export function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

// setAttr sets an attribute only when it differs; null takes it away.
export function setAttr(element, name, value) {
  if (value === null || value === false) element.removeAttribute(name);
  else if (element.getAttribute(name) !== String(value)) element.setAttribute(name, value);
}

// show hides an element or brings it back.
export function show(element, visible) {
  if (element.hidden === visible) element.hidden = !visible;
}

// keyed makes the children of container follow rows, in order. An element is made once for
// each key and updated afterwards; one whose row is gone is removed. make(row) returns an
// object with `element` and `update(row)`.
export function keyed(container, rows, keyOf, make) {
  const known = (container.keyedParts ??= new Map());
  const wanted = new Set(rows.map(keyOf));
  for (const [key, part] of known) {
    if (!wanted.has(key)) {
      part.element.remove();
      known.delete(key);
    }
  }
  let place = container.firstElementChild;
  for (const row of rows) {
    const key = keyOf(row);
    let part = known.get(key);
    if (!part) known.set(key, (part = make(row)));
    part.update(row);
    // Moving an element takes its focus away, so only what stands in the wrong place moves.
    if (part.element === place) place = place.nextElementSibling;
    else container.insertBefore(part.element, place);
  }
}

// button makes a button that cannot be pressed a second time while its work goes on, nor by the
// second tap of a double one.
export function button(label, className, work) {
  const b = h("button", { type: "button", class: className, text: label });
  b.addEventListener("click", async (event) => {
    if (event.detail > 1 || b.getAttribute("aria-busy") === "true") return;
    b.setAttribute("aria-busy", "true");
    try {
      await work(b);
    } finally {
      b.removeAttribute("aria-busy");
    }
  });
  return b;
}
