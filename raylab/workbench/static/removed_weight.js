// What the panels that take material away have in common: what is ground away, and where to go from there.

import { el, fixed } from "./controls.js";

/** A line on the weight, and buttons that take the edited stone over; `build` once, `show` with each answer. */
export class Ground {
  constructor(workbench, kind) {
    Object.assign(this, { workbench, kind });
    this.words = el("output", { className: "ground", ariaLive: "off" });
    this.hold = el("button", { type: "button", title: "Stone A becomes this one, so that another choice can stand beside it" }, "Hold as A");
    this.goOn = el("button", { type: "button", title: "This stone, as a table of facets, takes the place of the one it was made of" }, "Go on from here");
    this.hold.addEventListener("click", () => {
      const { designs, titles } = workbench.state;
      workbench.replace({ a: designs.b }, { titles: { ...titles, a: titles.b } });
    });
    this.goOn.addEventListener("click", () => {
      const { editing } = workbench.state;
      const made = workbench.asTable(editing);
      if (made) workbench.replace(editing === "b" ? { a: made, b: null } : { a: made });
    });
    this.caution = el("p", { className: "note" }, "What is ground away can't be put back. This is no cutting order.");
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
    this.words.replaceChildren(el("strong", {}, `${fixed(points, 2)} points ground away`),
      ` (0.01 ct each): ${fixed(answer.weight_before_ct, 4)} ct before, ${fixed(answer.weight_ct, 4)} ct after.`);
    this.words.classList.toggle("behind", workbench.faulty.has(editing));
  }
}
