// The presses on a screen that is read from across the hall.
import { byId, live } from "../lib/live.js";
import { wallPanel } from "./wall.js";

const pressesMs = 5_000; // presses have no place in the stream

const page = live({ kinds: ["presses", "batches", "lights", "alarms"], fresh: ["presses"], freshMs: pressesMs, heartbeatS: 1 });

page.start(() => {
  const wall = wallPanel(byId("wall"), page);
  return (_, now, contact) => wall.update(now, contact);
});
