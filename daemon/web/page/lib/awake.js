// The screen stays on while it is needed. A browser may refuse, as on a page that is not served over
// TLS; the page works without it.

let wanted = false;
/** @type {WakeLockSentinel | null} */
let held = null;

async function hold() {
  if (!wanted || held || document.hidden || !("wakeLock" in navigator)) return;
  try {
    const lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => {
      if (held === lock) held = null;
    });
    held = lock;
    if (!wanted) keepAwake(false);
  } catch {
    // Refused, as with a low battery. The next change, or the next time the page is seen, asks again.
  }
}

/**
 * keepAwake keeps the screen on, or lets it go dark again.
 * @param {boolean} on
 */
export function keepAwake(on) {
  if (on !== wanted && on) document.addEventListener("visibilitychange", hold);
  wanted = on;
  if (on) hold();
  else {
    document.removeEventListener("visibilitychange", hold);
    held?.release();
    held = null;
  }
}
