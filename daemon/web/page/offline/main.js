// The page that is shown in place of any other when the bench cannot be reached. It asks until the bench
// answers, and then shows the page that was wanted.
const askMs = 2_000;

async function ask() {
  try {
    const { ok } = await fetch("/healthz", { cache: "no-store" });
    if (ok) return location.pathname === "/offline" ? location.replace("/") : location.reload();
  } catch {
    // It is still out of reach.
  }
  setTimeout(ask, askMs);
}

setTimeout(ask, askMs);
export {};
