// The panel of proportions: a slider for each parameter of the cut; for a facet table, the measured proportions instead.
// Parameters, labels and ranges come from the cut, as the server states them.

import { el, fixed, optionalSlider, put, slider } from "./controls.js";
import { cutChoice } from "./cut_choice.js";
import { materialOf } from "./material.js";
import { ScanFacts } from "./scan.js";
import { Strip } from "./strip.js";

const DIAMETER = "diameter_mm";

export const proportions = {
  id: "proportions",
  title: "Proportions",

  build(root, workbench) {
    this.controls = {};
    this.cut = null;
    this.byHand = el("div");
    this.choice = cutChoice(workbench);
    this.facts = new ScanFacts(workbench);
    this.measured = el("div");
    this.material = materials(workbench);
    root.append(this.choice.element, this.byHand, this.facts.element, this.measured, this.material.element);
  },

  /** Controls for the parameters of a cut, in groups. */
  rebuild(workbench, cut) {
    this.cut = cut.name;
    this.controls = {};
    const groups = new Map();
    for (const about of cut.parameters) {
      const strip = new Strip(() => ({ key: about.key }));
      const first = () => (about.slider.low + about.slider.high) / 2;
      const control = controlFor({ ...about, strip }, (value, rested) => workbench.edit({ [about.key]: value }, rested), first);
      if (!control) continue;
      this.controls[about.key] = control;
      if (!groups.has(about.group)) groups.set(about.group, el("fieldset", { className: "controls" }, el("legend", {}, about.group)));
      groups.get(about.group).append(control.element);
    }
    this.byHand.replaceChildren(...groups.values());
  },

  show(workbench) {
    const design = workbench.design;
    const free = design.kind === "proportions";
    this.byHand.hidden = this.choice.element.hidden = !free;
    if (free) this.choice.show(design.cut);
    this.measured.hidden = this.facts.element.hidden = free;
    if (free) {
      if (design.cut !== this.cut) this.rebuild(workbench, workbench.cutNamed(design.cut));
      for (const [key, one] of Object.entries(this.controls)) one.show(design[key]);
    } else {
      const measured = workbench.answers[workbench.state.editing]?.measured;
      this.facts.show(measured);
      this.measured.replaceChildren(...measuredTable(workbench, measured));
    }
    this.material.element.hidden = Boolean(design.of);
    if (!design.of) this.material.show(design);
  },

  mark(keys) {
    for (const [name, one] of Object.entries(this.controls)) one.mark(keys.includes(name));
  },
};

/** A slider, a checkbox or a list; null for a parameter that the page does not show. */
function controlFor(about, set, first) {
  if (about.slider) return optionalSlider(about, set, first);
  if (!about.choices.length) return null;
  const id = `choice-${about.key}`;
  const tick = about.choices.every((choice) => typeof choice === "boolean");
  const input = tick ? el("input", { type: "checkbox", id }) : el("select", { id }, ...about.choices.map((value) => el("option", { value }, value)));
  input.addEventListener("change", () => set(tick ? input.checked : input.value, true));
  return {
    element: el("label", { className: "row", htmlFor: id, title: about.description }, el("span", {}, about.label), input),
    show: (value) => put(input, tick ? "checked" : "value", value),
    mark: (invalid) => input.setAttribute("aria-invalid", String(invalid)),
  };
}

function measuredTable(workbench, measured) {
  const note = el("p", { className: "note" },
    "This stone is a facet table; edit its facets in the panel Facets. Measured proportions, as mean and, where it shows, half the range:");
  if (!measured) return [note];
  const known = workbench.cutNamed(measured.cut)?.measured ?? workbench.start.measured;
  const shown = ({ key }) => measured[key] && (key !== DIAMETER || measured.extent?.round !== false); // no diameter of what isn't round
  const rows = known.filter(shown).map(({ key, label, unit }) => {
    const { mean, spread } = measured[key];
    return el("tr", {}, el("th", { scope: "row" }, label), el("td", {}, `${fixed(mean, 2)} ${unit}`),
      el("td", { className: "bracket" }, spread >= 0.01 ? `± ${fixed(spread / 2, 2)}` : ""));
  });
  return [note, el("table", { className: "measured" }, el("tbody", {}, ...rows))];
}

/** Material and body colour of a design of either kind. */
function materials(workbench) {
  const known = workbench.start.materials;
  const choice = el("select", { id: "material" }, ...known.map(({ name, label }) => el("option", { value: name }, label)));
  const note = el("p", { className: "note" });
  choice.addEventListener("change", () => workbench.edit({ material: choice.value }));
  const tint = slider(
    { key: "absorption_per_mm", label: "Body colour, absorption", unit: "/mm", spoken: "per millimetre", low: 0, high: 0.2, step: 0.002, least: 0, most: 1000,
      strip: new Strip(() => ({ key: "absorption_per_mm" })) },
    (value, rested) => workbench.edit({ absorption_per_mm: value }, rested),
  );
  const element = el("fieldset", { className: "controls" }, el("legend", {}, "Material"),
    el("label", { className: "row" }, el("span", {}, "Material"), choice), note, tint.element);
  return {
    element,
    show(design) {
      const found = materialOf(workbench, design);
      put(choice, "value", found?.name ?? design.material);
      put(note, "textContent", found?.note ?? "");
      tint.element.hidden = Array.isArray(design.absorption_per_mm);
      if (!tint.element.hidden) tint.show(design.absorption_per_mm);
    },
  };
}
