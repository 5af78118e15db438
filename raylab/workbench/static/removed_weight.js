// The part that panels of material removal share: the removed weight, and buttons to continue from the result.

import { el, fixed } from "./controls.js";

/** A line on the weight, and buttons that accept the edited stone; built once, `show` is called with each answer. */
export class RemovedWeight {
  constructor(workbench, kind) {
    Object.assign(this, { workbench, kind });
    this.words = el("output", { className: "ground", ariaLive: "off" });
    this.hold = el("button", { type: "button", title: "Replace stone A by this stone, to compare another choice with it" }, "Keep as A");
    this.goOn = el("button", { type: "button", title: "Replace the original stone by this stone, as a facet table" }, "Continue from here");
    this.hold.addEventListener("click", () => {
      const { designs, titles } = workbench.state;
      workbench.replace({ a: designs.b }, { titles: { ...titles, a: titles.b } });
    });
    this.goOn.addEventListener("click", () => {
      const { editing } = workbench.state;
      const made = workbench.asTable(editing);
      if (made) workbench.replace(editing === "b" ? { a: made, b: null } : { a: made });
    });
    this.caution = el("p", { className: "note" }, "Material that is removed can't be put back. This is no cutting order.");
    this.element = el("div", {}, this.words, el("div", { className: "buttons" }, this.hold, this.goOn), this.caution);
  }

  show() {
    const { workbench } = this;
    const { editing } = workbench.state;
    const answer = workbench.answers[editing];
    const ours = workbench.design.kind === this.kind;
    this.hold.disabled = !ours || editing !== "b";
    this.goOn.disabled = !ours;
    if (!ours || !answer || answer.weight_before_ct === null) {
      this.words.textContent = "";
      return;
    }
    const points = 100 * (answer.weight_before_ct - answer.weight_ct);
    this.words.replaceChildren(el("strong", {}, `${fixed(points, 2)} points removed`),
      ` (0.01 ct each): ${fixed(answer.weight_before_ct, 4)} ct before, ${fixed(answer.weight_ct, 4)} ct after.`);
    this.words.classList.toggle("behind", workbench.faulty.has(editing));
  }
}
