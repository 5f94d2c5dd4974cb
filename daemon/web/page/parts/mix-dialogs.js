// The questions of the guided mix: why go on, what was it, really give up?
import { ask, chips } from "../lib/dialogs.js";
import { h } from "../lib/dom.js";

const reasons = ["Weighed again, and it is right", "Only for a trial print", "Nothing left to put it right with"];

const taken = (store) => ({ answer }) => answer.id && store.put("batches", answer);

const goOn = { title: "Go on as it is?", lead: "The mix is not as the recipe asks. Your reason will be kept with this batch.", reasons };

// overrideDialog asks for the reason to go on out of tolerance, or in spite of something else.
export function overrideDialog(send, store, { title, lead, reasons } = goOn) {
  const text = h("textarea", { name: "reason", rows: 2, required: true, maxlength: 200 });
  const quick = reasons.map((reason) => {
    const b = h("button", { type: "button", class: "big", text: reason });
    b.addEventListener("click", () => {
      text.value = reason;
      text.focus();
    });
    return b;
  });
  ask({
    title, lead,
    body: [h("div", { class: "quick" }, quick), h("label", { class: "field" }, h("span", { text: "Reason" }), text)],
    submitLabel: "Go on with this reason",
    submit: (data) => send(String(data.get("reason")).replace(/\s+/g, " ").trim()).then(taken(store)),
  });
}

// relabelDialog asks what the last pour really was.
export function relabelDialog(send, store) {
  ask({
    title: "What was the last pour?",
    lead: "Its weight stays; it counts as what you say here, and the mix goes on from there.",
    body: [chips({
      legend: "It was", name: "part",
      options: ["ink", "hardener", "thinner"].map((p) => ({ value: p, label: p })),
    })],
    submitLabel: "That is what it was",
    submit: (data) => send(data.get("part")).then(taken(store)),
  });
}

// abandonDialog asks once more before a mix is given up.
export function abandonDialog(batch, send, store) {
  ask({
    title: `Give mix ${batch.id} up?`,
    lead: "It ends here, and what is in the cup counts as waste. Dispose of it as local rules say; never close a lid tightly on it once hardener is in.",
    submitLabel: "Give it up", danger: true,
    submit: () => send().then(taken(store)),
  });
}
