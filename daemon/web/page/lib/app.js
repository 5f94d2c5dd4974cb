// The pages as an app of the device: the service worker, which shows a page of our own when the bench
// cannot be reached.

/**
 * install has the browser install the worker once the page has loaded. A browser takes it over HTTPS,
 * and from its own computer; elsewhere there is none.
 */
export function install() {
  if (!("serviceWorker" in navigator)) return;
  const register = () => navigator.serviceWorker.register("/worker.js").catch(() => {}); // the page works without
  if (document.readyState === "complete") register();
  else window.addEventListener("load", register);
}
