// The bench's readiness: its journal, its broker, each device.

/**
 * @typedef {{ name: string, ok: boolean, detail?: string }} Check
 */

const path = "/readyz";

/**
 * readiness asks for the checks. It resolves to null when there was no answer; a bench that is not
 * ready answers too, with status 503.
 * @returns {Promise<Check[] | null>}
 */
export async function readiness() {
  try {
    const response = await fetch(path, { headers: { Accept: "application/json" }, cache: "no-store" });
    if (response.status !== 200 && response.status !== 503) return null;
    return (await response.json()).checks ?? [];
  } catch {
    return null;
  }
}
