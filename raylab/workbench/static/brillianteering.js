// The panel of the last facets: a blocked stone finished, its stars and halves laid on the mains as they were measured.

import { el, parameterSlider, signed } from "./controls.js";
import { Ground } from "./removed_weight.js";

const KIND = "finished";
const TIER = 0;
const GRIND = "diameter_mm";

const GAPS = { slope: ["slope_deg", 3, "°"], azimuth: ["azimuth_deg", 3, "°"], height: ["height_um", 1, " µm"] };

/** Which measured mains are off their tier's pattern, each to be chosen. */
function mainsOff(workbench) {
  const mains = workbench.answers[workbench.state.editing]?.mains_off ?? [];
  const lines = mains.map(({ name, off, ...gaps }) => {
    const button = el("button", { type: "button", ariaLabel: `Choose ${name}` }, name);
    button.addEventListener("click", () => workbench.look({ facet: name }));
    return el("li", { className: "row" }, button, off.map((word) => `${word} ${signed(gaps[GAPS[word][0]], GAPS[word][1])}${GAPS[word][2]}`).join(", "));
  });
  const told = lines.length ? "Mains off their tier's pattern by more than 3 usual standard uncertainties:" : "No main is off its tier's pattern by more than 3 usual standard uncertainties.";
  return [el("p", { className: "note" }, told), el("ul", { className: "plain" }, ...lines),
    el("p", { className: "note" }, "What correcting one alone would change, and your own uncertainties: raylab brillianteer.")];
}

export const last = {
  id: "last",
  title: "Finish",

  build(root, workbench) {
    this.workbench = workbench;
    this.rows = workbench.start.last_facets.map((about) => this.row(about));
    this.usual = Object.fromEntries(workbench.start.last_facets.map((about) => [about.key, about.default]));
    const last = [...new Set(workbench.start.cuts.flatMap((cut) => cut.last))].join(", ");
    this.none = el("p", { className: "note" }, "For a blocked stone: open its table of facets (CSV) or its scan, with table and mains polished and measured, " +
      `and no facets of the last tiers yet (${last}). Those are then laid on the mains as they are, and the finished stone stands beside it as B.`);
    this.ground = new Ground(workbench, KIND);
    this.body = el("div", {},
      el("p", { className: "note" }, "The last facets laid on the mains as they were measured; the finished stone stands beside the blocked one as B."),
      ...this.rows.map(({ element }) => element), this.ground.element, this.off = el("div"));
    root.append(this.none, this.body);
  },

  /** A slider, with a box before it where the choice may also be left open. */
  row(about) {
    const { workbench } = this;
    const set = (value, rested) => workbench.rework(KIND, { ...(workbench.design.kind === KIND ? {} : this.unmade()), [about.key]: value }, rested);
    const one = parameterSlider(about, set, `finish_${about.key}`);
    if (about.unset === null) return { about, one, element: one.element };
    const box = el("input", { type: "checkbox" });
    box.addEventListener("change", () => set(box.checked ? this.first(about) : null, true));
    const label = el("label", { className: "row" }, el("span", {}, `${about.label} (otherwise ${about.unset})`), box);
    return { about, one, box, element: el("div", {}, label, one.element) };
  },

  /** Where a choice that was left open begins: a length in the middle of its slider, a diameter a little inside the stone. */
  first({ key, slider: { low, high } }) {
    const [x, y] = this.workbench.shapes[this.workbench.state.editing].size_mm;
    return key === GRIND ? Math.floor(98 * Math.min(x, y)) / 100 : (low + high) / 2;
  },

  /** What a finished stone begins with: usual lengths, and a girdle ground round where none was measured. */
  unmade() {
    const { facets } = this.workbench.shapes[this.workbench.state.editing];
    const grind = this.rows.find(({ about }) => about.key === GRIND).about;
    return { ...this.usual, [GRIND]: facets.some((row) => this.workbench.onGirdle(row)) ? null : this.first(grind) };
  },

  show(workbench) {
    const finished = workbench.design.kind === KIND;
    const shape = workbench.shapes[workbench.state.editing];
    const tiers = new Set(shape?.facets.map((row) => row[TIER]));
    const cut = workbench.cutNamed(shape?.cut);
    const blocked = cut?.last.length && !cut.last.some((tier) => tiers.has(tier)) && cut.blocked.every((tier) => tiers.has(tier));
    this.none.hidden = finished || blocked;
    this.body.hidden = !this.none.hidden;
    const design = finished ? workbench.design : this.usual;
    for (const { about, one, box } of this.rows) {
      const value = design[about.key] ?? null;
      if (box) {
        box.checked = value !== null;
        one.element.hidden = value === null;
      }
      if (value !== null) one.show(value);
    }
    this.ground.show();
    this.off.replaceChildren(...(finished ? mainsOff(workbench) : []));
  },

  mark(key) {
    for (const { about, one } of this.rows) one.mark(about.key === key);
  },
};
