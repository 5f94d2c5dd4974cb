// The latest choices on this device, newest first. The page works without it where the browser
// keeps nothing.

const kept = 20;

/**
 * @param {string} name
 * @returns {string[]}
 */
function read(name) {
  try {
    const list = JSON.parse(localStorage.getItem(`potlifed.${name}`) ?? "[]");
    return Array.isArray(list) ? list.filter((v) => typeof v === "string") : [];
  } catch {
    return [];
  }
}

/**
 * remember keeps a choice under a name.
 * @param {string} name
 * @param {string} value
 */
export function remember(name, value) {
  try {
    const list = [value, ...read(name).filter((v) => v !== value)].slice(0, kept);
    localStorage.setItem(`potlifed.${name}`, JSON.stringify(list));
  } catch {
    // Private mode, or full: the next mix starts from the defaults.
  }
}

/**
 * latest returns the newest choice; undefined when there is none.
 * @param {string} name
 * @returns {string | undefined}
 */
export function latest(name) {
  return read(name)[0];
}

/**
 * lastFirst orders values: those chosen lately first, then the others as they were.
 * @param {string} name
 * @param {string[]} values
 */
export function lastFirst(name, values) {
  const recent = read(name).filter((v) => values.includes(v));
  return [...recent, ...values.filter((v) => !recent.includes(v))];
}
