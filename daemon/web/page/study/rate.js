// How rates of rejects are written.

/**
 * perThousand writes a rate as rejects of 1000 prints, with three digits, more before the decimal mark.
 * @param {number} rate rejects for each print
 */
export function perThousand(rate) {
  const shown = 1000 * rate;
  return shown < 100 ? shown.toPrecision(3) : shown.toFixed(0);
}
