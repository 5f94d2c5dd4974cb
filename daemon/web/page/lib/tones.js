// Short tones, for hands and eyes that are at the can. They are off until a person turns them on at
// this device, and a browser lets none sound before the first tap.
import { latest, remember } from "./choices.js";

/**
 * The tones: pairs of a pitch in Hz and a length in s, one after the other. Those of a pour rise
 * until it is right, and fall when it is too much.
 * @type {Record<string, [pitch: number, seconds: number][]>}
 */
export const tones = {
  near: [[660, 0.09]],
  right: [[880, 0.09], [1175, 0.16]],
  over: [[330, 0.14], [247, 0.3]],
  alarm: [[784, 0.12], [587, 0.12], [784, 0.2]],
};

const loudness = 0.25;
const gapS = 0.03;

/** @type {AudioContext | null} */
let audio = null;

export const soundIsOn = () => latest("sound") === "on";

// wake lets tones sound; it must be called while a person taps.
function wake() {
  if (!soundIsOn()) return;
  audio ??= new AudioContext();
  if (audio.state === "suspended") audio.resume();
}

/**
 * turnSound turns the tones of this device on or off, and lets one be heard.
 * @param {boolean} on
 */
export function turnSound(on) {
  remember("sound", on ? "on" : "off");
  for (const draw of turned) draw();
  if (!on) return;
  audio ??= new AudioContext();
  audio.resume().then(() => play("right"));
}

/** @type {(() => void)[]} */
const turned = [];

/**
 * whenSoundTurns calls draw when the tones have been turned on or off.
 * @param {() => void} draw
 */
export const whenSoundTurns = (draw) => void turned.push(draw);

// soundAfterTaps lets the tones that were turned on earlier sound from the first tap on.
export function soundAfterTaps() {
  document.addEventListener("pointerdown", wake);
  document.addEventListener("keydown", wake);
}

/**
 * play sounds a tone, where they are on and a person has tapped.
 * @param {string} name
 */
export function play(name) {
  if (!soundIsOn() || audio?.state !== "running") return;
  let at = audio.currentTime;
  for (const [pitch, seconds] of tones[name] ?? []) {
    const tone = audio.createOscillator();
    const volume = audio.createGain();
    tone.frequency.value = pitch;
    // A tone that began or ended at once would click.
    volume.gain.setValueAtTime(0, at);
    volume.gain.linearRampToValueAtTime(loudness, at + 0.01);
    volume.gain.setValueAtTime(loudness, at + seconds - 0.02);
    volume.gain.linearRampToValueAtTime(0, at + seconds);
    tone.connect(volume).connect(audio.destination);
    tone.start(at);
    tone.stop(at + seconds);
    at += seconds + gapS;
  }
}
