// The page of the cans: which are there, what went where, and what was thrown away.
import { cansPanel } from "./cans.js";
import { byId, live } from "../lib/live.js";
import { lotsPanel } from "./lots.js";
import { wastePanel } from "./waste.js";

const freshMs = 5_000; // cans have no place in the stream

const waste = wastePanel();
const page = live({ kinds: ["cans", "inks"], fresh: ["cans"], freshMs, needs: [waste.load] });
page.start(() => {
  const lots = lotsPanel(byId("lots"), page);
  const cans = cansPanel(byId("cans"), page, lots.find);
  byId("waste").append(...waste.parts);
  return (kinds) => {
    if (kinds.has("cans") || kinds.has("inks")) cans.update();
  };
});
