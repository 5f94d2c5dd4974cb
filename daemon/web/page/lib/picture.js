// A picture that the bench draws, with its data as tables. A person steps through the values with
// the arrow keys, or touches them; the value is written below the picture.
import { get, Refused } from "./api.js";
import { h, setWords, show } from "./dom.js";
import { refusalLine, showRefusal } from "./refusal.js";
import { say } from "./words.js";

const margin = 24; // beside a picture, about
const settledMs = 250; // a width that has not changed for so long is the new one
const sameWidth = 0.04; // the share of a change by which letters do not look larger or smaller

/**
 * picture makes the place of a picture. The place keeps the picture's height while nothing has come, so
 * that nothing moves when it does.
 * @param {number} [share] the height of the picture for its width, as the bench draws it
 * @param {number} [least] its least height in pixels
 */
export function picture(share = 0.5, least = 220) {
  const drawing = h("div", { class: "picture-drawing" });
  const value = h("p", { class: "picture-value", role: "status" });
  const data = h("div", { class: "picture-tables", tabindex: 0, role: "region", "aria-label": say("picture.data") });
  const tables = h("details", { class: "picture-data", hidden: true }, h("summary", { text: say("picture.data") }), data);
  const about = h("p", { class: "picture-about quiet" });
  const refusal = refusalLine();
  const caption = h("figcaption", { class: "picture-title" });
  const element = h("figure", { class: "picture" }, caption, drawing, value, about, tables, refusal);
  drawing.style.aspectRatio = String(1 / share);
  drawing.style.minHeight = `${least}px`;
  let asked = 0;
  const waits = h("p", { class: "picture-waits quiet", text: say("picture.drawing") });
  let drawnAs = ""; // the path of the picture that was asked for last
  let drawnAt = 0; // its width
  let settles = 0;

  const width = () => Math.round(Math.min(1200, Math.max(320, element.clientWidth || document.documentElement.clientWidth - 2 * margin)));
  // A screen that was turned has another width: stretched to it, the letters would grow or shrink with it.
  new ResizeObserver(() => {
    clearTimeout(settles);
    if (drawnAs && element.clientWidth > 0 && Math.abs(width() - drawnAt) > sameWidth * drawnAt) settles = setTimeout(() => load(drawnAs), settledMs);
  }).observe(element);

  drawing.addEventListener("keydown", (event) => step(drawing, event));
  for (const kind of ["focusin", "pointerover", "click"]) {
    drawing.addEventListener(kind, (event) => {
      const mark = event.target instanceof Element ? event.target.closest(".mark") : null;
      if (mark) setWords(value, mark.getAttribute("aria-label") ?? "");
    });
  }

  /**
   * @param {string} path below /api/v1, without the width
   */
  async function load(path) {
    const turn = ++asked;
    [drawnAs, drawnAt] = [path, width()];
    if (drawing.childElementCount === 0) drawing.append(waits); // a place that stays empty looks broken
    try {
      /** @type {API.Picture} */
      const got = await get(`${path}${path.includes("?") ? "&" : "?"}width=${drawnAt}`);
      if (turn !== asked) return;
      drawing.style.aspectRatio = drawing.style.minHeight = "auto";
      const read = [...drawing.querySelectorAll(".mark")].indexOf(/** @type {Element} */ (document.activeElement));
      const parsed = new DOMParser().parseFromString(got.svg, "image/svg+xml").documentElement;
      drawing.replaceChildren(...(got.empty ? [] : [document.importNode(parsed, true)]));
      setWords(caption, got.title);
      setWords(about, got.empty || got.about);
      show(value, !got.empty);
      value.textContent = "";
      const marks = drawing.querySelectorAll(".mark");
      if (read >= 0) focusOn(marks[Math.min(read, marks.length - 1)], marks[0]);
      data.replaceChildren(...(got.tables ?? []).map(table));
      show(tables, (got.tables ?? []).length > 0);
      show(refusal, false);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (turn !== asked) return;
      waits.remove();
      showRefusal(refusal, error);
    }
  }

  return { element, load };
}

/**
 * step moves the focus to the next or the last mark.
 * @param {Element} drawing
 * @param {KeyboardEvent} event
 */
function step(drawing, event) {
  const marks = [...drawing.querySelectorAll(".mark")];
  const at = marks.indexOf(/** @type {Element} */ (document.activeElement));
  const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: marks.length - 1 }[event.key];
  const next = to === undefined || at < 0 ? undefined : marks[to];
  if (!next) return;
  event.preventDefault();
  focusOn(next, marks[at]);
}

/**
 * focusOn makes a mark the one that is read; before is the one that was.
 * @param {Element | undefined} mark
 * @param {Element | undefined} before
 */
function focusOn(mark, before) {
  if (!(mark instanceof SVGElement)) return;
  before?.setAttribute("tabindex", "-1");
  mark.setAttribute("tabindex", "0");
  mark.focus();
}

/** @param {API.PictureData} t */
function table(t) {
  return h(
    "table",
    {},
    h("caption", { text: t.caption }),
    h("thead", {}, h("tr", {}, (t.head ?? []).map((text) => h("th", { scope: "col", text })))),
    h("tbody", {}, (t.rows ?? []).map((row) => h("tr", {}, (row ?? []).map((words) => h("td", { words }))))),
  );
}
