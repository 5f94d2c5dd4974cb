// What was chosen lately on this device, newest first. It is a convenience: where the browser
// keeps nothing, the page works without it.

const kept = 20;

function read(name) {
  try {
    const list = JSON.parse(localStorage.getItem(`potlifed.${name}`));
    return Array.isArray(list) ? list.filter((v) => typeof v === "string") : [];
  } catch {
    return [];
  }
}

export function remember(name, value) {
  try {
    const list = [value, ...read(name).filter((v) => v !== value)].slice(0, kept);
    localStorage.setItem(`potlifed.${name}`, JSON.stringify(list));
  } catch {
    // Private mode, or full: the next mix starts from the defaults.
  }
}

export function latest(name) {
  return read(name)[0];
}

// lastFirst orders values: those chosen lately first, then the others as they were.
export function lastFirst(name, values) {
  const recent = read(name).filter((v) => values.includes(v));
  return [...recent, ...values.filter((v) => !recent.includes(v))];
}
