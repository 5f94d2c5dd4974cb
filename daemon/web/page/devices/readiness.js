// What the bench says of its own readiness: the journal, the broker, each device.

const path = "/readyz";

// readiness asks for it. It is null when there was no answer; a bench that is not ready answers
// too, with status 503.
export async function readiness() {
  try {
    const response = await fetch(path, { headers: { Accept: "application/json" }, cache: "no-store" });
    if (response.status !== 200 && response.status !== 503) return null;
    return (await response.json()).checks ?? [];
  } catch {
    return null;
  }
}
