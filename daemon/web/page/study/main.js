// The page of the engineers: what does the air do to our prints?
import { byId, live } from "../lib/live.js";
import { studyPanel } from "./panel.js";

const panel = studyPanel();
const page = live({ kinds: ["presses"], needs: [panel.load] });
page.start(() => {
  byId("study").append(...panel.parts);
  return (kinds) => {
    if (kinds.has("presses")) panel.offer(page.store.all("presses"));
  };
});
