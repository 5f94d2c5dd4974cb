// A picture that the bench draws, with its data as tables. A person steps through the values with
// the arrow keys, or touches them; the value is written below the picture.
import { get, Refused } from "./api.js";
import { h, show } from "./dom.js";
import { refusalLine, showRefusal } from "./refusal.js";
import { say } from "./words.js";

const margin = 24; // beside a picture, about

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

  drawing.addEventListener("keydown", (event) => step(drawing, event));
  for (const kind of ["focusin", "pointerover", "click"]) {
    drawing.addEventListener(kind, (event) => {
      const mark = event.target instanceof Element ? event.target.closest(".mark") : null;
      if (mark) value.textContent = mark.getAttribute("aria-label");
    });
  }

  /**
   * @param {string} path below /api/v1, without the width
   */
  async function load(path) {
    const turn = ++asked;
    const width = Math.round(Math.min(1200, Math.max(320, element.clientWidth || document.documentElement.clientWidth - 2 * margin)));
    try {
      /** @type {API.Picture} */
      const got = await get(`${path}${path.includes("?") ? "&" : "?"}width=${width}`);
      if (turn !== asked) return;
      drawing.style.aspectRatio = drawing.style.minHeight = "auto";
      const parsed = new DOMParser().parseFromString(got.svg, "image/svg+xml").documentElement;
      drawing.replaceChildren(...(got.empty ? [] : [document.importNode(parsed, true)]));
      caption.textContent = got.title;
      about.textContent = got.empty || got.about;
      show(value, !got.empty);
      value.textContent = "";
      data.replaceChildren(...(got.tables ?? []).map(table));
      show(tables, (got.tables ?? []).length > 0);
      show(refusal, false);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (turn !== asked) return;
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
  if (!(next instanceof SVGElement)) return;
  event.preventDefault();
  marks[at]?.setAttribute("tabindex", "-1");
  next.setAttribute("tabindex", "0");
  next.focus();
}

/** @param {API.PictureData} t */
function table(t) {
  return h(
    "table",
    {},
    h("caption", { text: t.caption }),
    h("thead", {}, h("tr", {}, (t.head ?? []).map((text) => h("th", { scope: "col", text })))),
    h("tbody", {}, (t.rows ?? []).map((row) => h("tr", {}, (row ?? []).map((text) => h("td", { text }))))),
  );
}
