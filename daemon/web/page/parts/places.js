// Where a cup can stand: on a press, or in a zone, open or loosely covered.

// What a cover does to the air that reaches the mix, as a share of that over an open cup. The
// half is from common practice, not measured.
const covers = [{ label: "open", exposure: 1 }, { label: "loosely covered", exposure: 0.5 }];

// pressesFor are the presses that a batch can go onto; one that holds another says so.
export function pressesFor(store, batch) {
  return store.all("presses").filter((p) => p.id !== batch.press).sort((a, b) => a.id.localeCompare(b.id)).map((p) => ({
    value: { press: p.id, ...(p.batch && { replace: true }) },
    label: p.id, note: p.batch ? `holds ${p.batch}, which comes off` : "free",
  }));
}

// zonesFor are the zones known to the page, each open and loosely covered.
export function zonesFor(store) {
  const zones = new Set([...store.all("air"), ...store.all("presses"), ...store.all("batches")].map((row) => row.zone).filter(Boolean));
  return [...zones].sort().flatMap((zone) => covers.map((c) => ({
    value: { zone, exposure: c.exposure }, label: `zone ${zone}`, note: c.label,
  })));
}

// massOf is what a batch was made of altogether, g. Prints and evaporation are not taken off.
export function massOf(batch) {
  return (batch.components ?? []).reduce((sum, c) => sum + c.g, 0);
}

export function partsOf(batch) {
  const of = (part) => (batch.components ?? []).filter((c) => c.part === part).reduce((sum, c) => sum + c.g, 0);
  return { ink: of("ink"), hardener: of("hardener"), thinner: of("thinner") };
}
