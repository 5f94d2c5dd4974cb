// Which span is asked for, and which one the pictures with an axis of time show.

/** How many days a control chart shows where no dates are chosen. */
export const chartDays = 31;

/**
 * recorded returns the span that was asked for; without one, that of the records of a study, or its last days.
 * @param {URLSearchParams} asked
 * @param {{ from?: string, to?: string } | undefined} study
 * @param {number} days 0 for all
 */
export function recorded(asked, study, days) {
  const q = new URLSearchParams(asked);
  if (!study?.from || !study.to || q.has("from") || q.has("to")) return q;
  const begin = days ? Math.max(Date.parse(study.from), Date.parse(study.to) - days * 86_400_000) : Date.parse(study.from);
  q.set("from", new Date(begin).toISOString());
  q.set("to", study.to);
  return q;
}

/**
 * dayAfter returns the day after a date, since a span does not include its end.
 * @param {string} day
 */
export function dayAfter(day) {
  const at = new Date(`${day}T00:00:00Z`);
  at.setUTCDate(at.getUTCDate() + 1);
  return at.toISOString().slice(0, 10);
}

/**
 * address writes the fields as the query of the page's address: only those that a person chose. Its last day is
 * included, as in the field.
 * @param {Record<string, string>} fields
 * @param {string} usualFactor the condition that is shown first
 */
export function address(fields, usualFactor) {
  const chosen = Object.entries(fields).filter(([name, value]) => value !== "" && !(name === "factor" && value === usualFactor));
  return chosen.length > 0 ? `?${new URLSearchParams(chosen)}` : "";
}
