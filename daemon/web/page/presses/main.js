// The page of the presses, for a wall screen.
import { alarmsPanel } from "../parts/alarms.js";
import { boardPanel } from "./board.js";
import { setText } from "../lib/dom.js";
import { age, clockTime, secondsUntil } from "../lib/format.js";
import { othersPanel } from "./others.js";
import { byId, drawAlarmCount, live } from "../lib/live.js";
import { say } from "../lib/words.js";
import { undoBar } from "../parts/undo.js";

const pressesMs = 5_000; // presses have no place in the stream

const page = live({ kinds: ["presses", "batches", "lights", "alarms", "inks", "air", "neighbours"], fresh: ["presses"], freshMs: pressesMs, heartbeatS: 1 });

page.start(() => {
  const board = boardPanel(byId("board"), page);
  const others = othersPanel(byId("others"), page);
  const alarms = alarmsPanel(byId("alarms"), page);
  undoBar(page);
  return (kinds, now, contact) => {
    board.update(now, contact);
    others.update(now, contact);
    if (kinds.has("alarms")) drawAlarmCount(alarms.update(now));
    const newest = Math.max(...[...page.store.all("batches"), ...page.store.all("lights")].map((row) => Date.parse(row.time)));
    setText(byId("bench-clock"), page.store.clock.known ? clockTime(now, now) : "");
    setText(byId("bench-age"), Number.isFinite(newest) ? say("board.newest", { age: age(-secondsUntil(newest, now)) }) : "");
  };
});
