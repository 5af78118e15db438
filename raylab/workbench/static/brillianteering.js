// The panel of the last facets: stars and halves of a blocked stone, placed on its measured mains.

import { el, optionalSlider, signed } from "./controls.js";
import { RemovedWeight } from "./removed_weight.js";
import { Strip } from "./strip.js";

const KIND = "finished";
const TIER = 0;
const GRIND = "diameter_mm";

const DEVIATIONS = { slope: ["slope_deg", 3, "°"], azimuth: ["azimuth_deg", 3, "°"], height: ["height_um", 1, " µm"] };

/** The measured mains that deviate from their tier, with a button for each. */
function mainsOff(workbench) {
  const mains = workbench.answers[workbench.state.editing]?.mains_off ?? [];
  const lines = mains.map(({ name, off, ...deviations }) => {
    const button = el("button", { type: "button", ariaLabel: `Choose ${name}` }, name);
    button.addEventListener("click", () => workbench.look({ facet: name }));
    return el("li", { className: "row" }, button, off.map((word) => `${word} ${signed(deviations[DEVIATIONS[word][0]], DEVIATIONS[word][1])}${DEVIATIONS[word][2]}`).join(", "));
  });
  const heading = lines.length
    ? "Mains that deviate from their tier by more than 3 standard uncertainties (usual values):"
    : "No main deviates from its tier by more than 3 standard uncertainties (usual values).";
  return [el("p", { className: "note" }, heading), el("ul", { className: "plain" }, ...lines),
    el("p", { className: "note" }, "The command raylab brillianteer shows the effect of correcting one main alone and accepts your own uncertainties.")];
}

export const last = {
  id: "last",
  title: "Brillianteer",

  build(root, workbench) {
    this.workbench = workbench;
    this.shown = null; // the blocked design whose finished stone was shown
    this.rows = workbench.start.last_facets.map((about) => this.row(about));
    this.usual = Object.fromEntries(workbench.start.last_facets.map((about) => [about.key, about.default]));
    const last = [...new Set(workbench.start.cuts.flatMap((cut) => cut.last))].join(", ");
    this.none = el("p", { className: "note" });
    this.words = "For a blocked stone. Open its facet table (CSV) or its scan, with measured table and mains " +
      `and without facets of the last tiers (${last}). This panel places the last tiers on the measured mains and shows the finished stone as B.`;
    this.removed = new RemovedWeight(workbench, KIND);
    this.body = el("div", {},
      el("p", { className: "note" }, "The last facets are placed on the measured mains. The finished stone is shown as B beside the blocked one."),
      ...this.rows.map(({ one }) => one.element), this.removed.element, this.off = el("div"));
    root.append(this.none, this.body);
  },

  /** A slider of a parameter of the last facets, or of the girdle that is ground before them. */
  row(about) {
    const { workbench } = this;
    const set = (value, rested) => workbench.rework(KIND, { ...(workbench.design.kind === KIND ? {} : this.unmade()), [about.key]: value }, rested);
    const strip = new Strip(() => (workbench.design.kind === KIND ? { key: about.key } : null));
    return { about, one: optionalSlider({ ...about, strip }, set, () => this.first(about), `finish_${about.key}`) };
  },

  /** The first value of an optional parameter: a length in the middle of its slider, a diameter slightly inside the stone. */
  first({ key, slider: { low, high } }) {
    const [x, y] = this.workbench.shapes[this.workbench.state.editing].size_mm;
    return key === GRIND ? Math.floor(98 * Math.min(x, y)) / 100 : (low + high) / 2;
  },

  /** Only a round girdle can be ground to a diameter. */
  round() {
    return this.workbench.cutNamed(this.workbench.shapes[this.workbench.state.editing]?.cut)?.round ?? false;
  },

  /** The first values of a finished stone: default lengths, and a girdle diameter if no round girdle is measured. */
  unmade() {
    const { facets } = this.workbench.shapes[this.workbench.state.editing];
    const grind = this.rows.find(({ about }) => about.key === GRIND).about;
    const ground = !this.round() || facets.some((row) => this.workbench.onGirdle(row));
    return { ...this.usual, [GRIND]: ground ? null : this.first(grind) };
  },

  show(workbench) {
    const finished = workbench.design.kind === KIND;
    const shape = workbench.shapes[workbench.state.editing];
    const tiers = new Set(shape?.facets.map((row) => row[TIER]));
    const cut = workbench.cutNamed(shape?.cut);
    const blocked = cut?.last.length && !cut.last.some((tier) => tiers.has(tier)) && cut.blocked.every((tier) => tiers.has(tier));
    this.none.hidden = finished || blocked;
    this.none.textContent = cut && !cut.last.length ? `The cut of this stone (${cut.name}) has no stars and halves to lay on its mains.` : this.words;
    this.body.hidden = !this.none.hidden;
    const design = finished ? workbench.design : this.usual;
    for (const { about, one } of this.rows) {
      one.element.hidden = about.key === GRIND && !this.round();
      one.show(design[about.key] ?? null);
    }
    this.removed.show();
    this.off.replaceChildren(...(finished ? mainsOff(workbench) : []));
    if (blocked && !finished) this.begin();
  },

  /** Show the finished stone beside a blocked one that stands alone, once: undo takes it away for good. */
  begin() {
    const { workbench } = this;
    if (workbench.sides.length > 1) return;
    const design = JSON.stringify(workbench.design);
    if (this.shown === design || JSON.stringify(workbench.drawn.a) !== design) return;
    this.shown = design;
    workbench.rework(KIND, this.unmade(), true);
  },

  mark(keys) {
    for (const { about, one } of this.rows) one.mark(keys.includes(about.key));
  },
};
