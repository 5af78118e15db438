// The materials as the server states them.

/** The record of a design's material, by any of its names; undefined for one that is not known. */
export function materialOf({ start }, design) {
  const { material } = design.of ?? design;
  return start.materials.find(({ name, other_names: others }) => name === material || others.includes(material));
}

/** What must be known of the materials of the numbers shown, a line for each: a constant from memory, an axis left out. */
export function materialNotes(workbench, sides) {
  const found = new Set(sides.map((side) => materialOf(workbench, workbench.state.designs[side])));
  return [...found].filter((one) => one?.note).map(({ name, note }) => `${name}: ${note}`);
}
