// Whether what is shown may be wrong because the bench is not heard.

// outOfContact tells it. live.js keeps the state.
export const outOfContact = () => ["retrying", "none"].includes(document.body.dataset.contact ?? "");
