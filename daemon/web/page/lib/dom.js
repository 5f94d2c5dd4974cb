// Small helpers over the document: they make elements, and change only what differs, so that
// focus, selections and live regions are left in peace.

/**
 * The properties that h and svg take: class, text, words (a text whose ids are not broken), on (event handlers) and data (data-* values);
 * anything else becomes an attribute, and is left out when it is false, null or undefined.
 * @typedef {Object<string, any> & { class?: string, text?: string, words?: string, on?: Record<string, (event: Event) => void>, data?: Record<string, string> }} Props
 */

/**
 * h makes an element.
 * @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag
 * @param {Props} [props]
 * @param {...(Page.Child | Page.Child[])} children
 * @returns {HTMLElementTagNameMap[T]}
 */
export function h(tag, props = {}, ...children) {
  return fill(document.createElement(tag), props, children);
}

/**
 * svg makes an element of a drawing.
 * @template {keyof SVGElementTagNameMap} T
 * @param {T} tag
 * @param {Props} [props]
 * @param {...(Page.Child | Page.Child[])} children
 */
export function svg(tag, props = {}, ...children) {
  return fill(document.createElementNS("http://www.w3.org/2000/svg", tag), props, children);
}

/**
 * @template {HTMLElement | SVGElement} E
 * @param {E} element
 * @param {Props} props
 * @param {(Page.Child | Page.Child[])[]} children
 */
function fill(element, props, children) {
  for (const [name, value] of Object.entries(props)) {
    if (value === false || value === null || value === undefined) continue;
    if (name === "text") element.textContent = value;
    else if (name === "words") setWords(element, value);
    else if (name === "on") for (const [event, f] of Object.entries(props.on ?? {})) element.addEventListener(event, f);
    else if (name === "data") Object.assign(element.dataset, value);
    else element.setAttribute(name, value === true ? "" : value);
  }
  for (const child of children.flat()) if (child !== null && child !== undefined && child !== false) element.append(child);
  return element;
}

// An id longer than 24 letters is no id that a narrow screen can keep whole.
const ids = /(?<![\w/.:-])(?=[\w-]{3,24}(?![\w-]))(?![\w.:-]*\/)\w+(?:-\w+)+/g;

/**
 * setWords is setText for words that name things: an id with a hyphen in it is not broken there. It is
 * not for an element whose children are laid out one by one.
 * @param {Element} element
 * @param {string} text
 */
export function setWords(element, text) {
  if (element.textContent === text) return;
  let at = 0;
  const parts = [];
  for (const found of text.matchAll(ids)) {
    parts.push(text.slice(at, found.index), h("span", { class: "id", text: found[0] }));
    at = found.index + found[0].length;
  }
  element.replaceChildren(...parts, text.slice(at));
}

/**
 * phrase makes an element with words that name things, see setWords.
 * @param {keyof HTMLElementTagNameMap} tag
 * @param {Parameters<typeof h>[1]} props
 * @param {string} text
 */
export function phrase(tag, props, text) {
  const element = h(tag, props);
  setWords(element, text);
  return element;
}

/**
 * setText changes an element's text only when it differs.
 * @param {Element} element
 * @param {string} text
 */
export function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/**
 * setData changes a data-* value of an element only when it differs.
 * @param {HTMLElement} element
 * @param {string} name
 * @param {string} value
 */
export function setData(element, name, value) {
  if (element.dataset[name] !== value) element.dataset[name] = value;
}

/**
 * show hides an element or brings it back.
 * @param {HTMLElement} element
 * @param {boolean} visible
 */
export function show(element, visible) {
  if (element.hidden === visible) element.hidden = !visible;
}

/**
 * The parts of each container by key, see keyed.
 * @type {WeakMap<Element, Map<string, any>>}
 */
const partsOf = new WeakMap();

/**
 * keyed makes the children of container follow rows, in order, and returns their parts. A part is
 * made once for each key and updated afterwards; one whose row is gone is removed.
 * @template Row
 * @template {Page.Part<Row>} P
 * @param {Element} container
 * @param {readonly Row[]} rows
 * @param {(row: Row) => string} keyOf
 * @param {(row: Row) => P} make
 * @returns {P[]}
 */
export function keyed(container, rows, keyOf, make) {
  /** @type {Map<string, P>} */
  const known = partsOf.get(container) ?? new Map();
  partsOf.set(container, known);
  const wanted = new Set(rows.map(keyOf));
  for (const [key, part] of known) {
    if (!wanted.has(key)) {
      part.element.remove();
      known.delete(key);
    }
  }
  let next = container.firstElementChild;
  for (const row of rows) {
    const key = keyOf(row);
    let part = known.get(key);
    if (!part) known.set(key, (part = make(row)));
    part.update(row);
    // Moving an element takes its focus away, so only one that is in the wrong place is moved.
    if (part.element === next) next = next.nextElementSibling;
    else container.insertBefore(part.element, next);
  }
  return [...known.values()];
}

/**
 * button makes a button that cannot be pressed a second time while its work goes on, nor by the
 * second tap of a double one. One that does another thing at each step names it in about: when the
 * step has changed, the work on the last one does not hold up the next, whose answer may be late.
 * @param {string} label
 * @param {string} className
 * @param {() => unknown} work
 * @param {() => string} [about]
 */
export function button(label, className, work, about = () => "") {
  const b = h("button", { type: "button", class: className, text: label });
  /** @type {Set<string>} */
  const going = new Set();
  b.addEventListener("click", async (event) => {
    const of = about();
    if (event.detail > 1 || going.has(of)) return;
    going.add(of);
    b.setAttribute("aria-busy", "true");
    try {
      await work();
    } finally {
      going.delete(of);
      if (going.size === 0) b.removeAttribute("aria-busy");
    }
  });
  return b;
}
