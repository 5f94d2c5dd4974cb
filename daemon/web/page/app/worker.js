// The service worker of all pages. It keeps one page, which is shown when the bench cannot be reached,
// and what that page is made of; never a figure, and none of the pages that show figures. The server
// puts the version and the list in place of the words in capitals.
const version = "VERSION";
/** @type {string[]} */
const shell = ["SHELL"]; // the first is the page
const kept = `potlifed-${version}`;
const waitMs = 15_000; // for a page, before it counts as out of reach

const worker = /** @type {any} */ (self); // the types at hand are those of a window

worker.addEventListener("install", (/** @type {any} */ event) => {
  event.waitUntil(caches.open(kept).then((cache) => cache.addAll(shell)).then(() => worker.skipWaiting()));
});

worker.addEventListener("activate", (/** @type {any} */ event) => {
  const others = caches.keys().then((names) => Promise.all(names.filter((name) => name !== kept).map((name) => caches.delete(name))));
  event.waitUntil(others.then(() => worker.clients.claim()));
});

worker.addEventListener("fetch", (/** @type {any} */ event) => {
  const { request } = event;
  if (request.mode === "navigate" && request.method === "GET") event.respondWith(page(request));
  else if (shell.slice(1).includes(new URL(request.url).pathname)) event.respondWith(asset(request));
});

/**
 * page asks the bench for a page, and answers with the one that is kept where it cannot be reached.
 * @param {Request} request
 */
async function page(request) {
  try {
    return await within(fetch(request), waitMs);
  } catch (error) {
    const page = await (await caches.open(kept)).match(shell[0]);
    if (!page) throw error;
    return page;
  }
}

/**
 * asset answers from what is kept: the name of an asset changes with what is in it.
 * @param {Request} request
 */
async function asset(request) {
  return (await (await caches.open(kept)).match(new URL(request.url).pathname)) ?? fetch(request);
}

/**
 * within fails when an answer does not come in time.
 * @template T
 * @param {Promise<T>} answer
 * @param {number} ms
 * @returns {Promise<T>}
 */
function within(answer, ms) {
  return Promise.race([answer, new Promise((_, fail) => setTimeout(() => fail(new Error("no answer in time")), ms))]);
}
