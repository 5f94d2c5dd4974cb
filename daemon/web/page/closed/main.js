// The page of closed batches: by day, with a search, and each day as a sheet to print.
import { byId, live } from "../lib/live.js";
import { closedPanel } from "./panel.js";

const askMs = 30_000; // a batch that is closed while the page is open appears

const panel = closedPanel();
const page = live({ kinds: ["presses", "inks"], needs: [panel.load] });
page.start(() => {
  byId("closed").append(...panel.parts);
  return (kinds) => {
    if (kinds.has("presses") || kinds.has("inks")) panel.offer(page.store);
  };
});
setInterval(panel.refresh, askMs);
