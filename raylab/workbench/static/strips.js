// All strips, and the curves against the tilt: computed one after the other while the page rests, the slider last used first; see
// strip.js and tilt_curve.js.

import { el } from "./controls.js";
import { COUNTS, show } from "./curve.js";
import { Strip } from "./strip.js";

const KEPT = "raylab-strips";

export class Strips {
  /** `tilting` is the drawing against the tilt. */
  constructor(workbench, background, choice, tilting) {
    Object.assign(this, { workbench, background, choice, tilting, round: 0, rested: false, last: null });
    choice.append(...workbench.start.strips.map(({ key, label }) => el("option", { value: key }, label)), el("option", { value: "" }, "nothing"));
    try { choice.value = localStorage.getItem(KEPT) ?? choice.value; } catch { /* this browser keeps no choice */ }
    choice.addEventListener("change", () => {
      try { localStorage.setItem(KEPT, choice.value); } catch { /* the choice then ends with the page */ }
      this.drawAll();
      if (this.rested) this.run();
    });
    document.addEventListener("input", ({ target }) => { this.last = Strip.all.find(({ range }) => range === target) ?? this.last; }, true);
    for (const event of ["change", "link"]) workbench.addEventListener(event, () => this.fade());
    workbench.addEventListener("panel", () => { if (this.rested) this.run(); });
    workbench.addEventListener("status", ({ detail }) => {
      if (detail === "busy" || this.rested) return;
      this.rested = true;
      this.run();
    });
  }

  get figure() {
    return this.workbench.start.strips.find(({ key }) => key === this.choice.value);
  }

  /** Something else has changed: the strips are behind, but for that of the slider that moves. */
  fade() {
    this.round++;
    this.rested = false;
    document.documentElement.dataset.strips = "behind";
    for (const strip of Strip.all) strip.fade(strip === this.last);
    this.tilting.fade();
  }

  /** The strips in sight, the one last used first. */
  inOrder() {
    Strip.all = Strip.all.filter(({ element }) => element.isConnected);
    const shown = Strip.all.filter((strip) => strip.shown).sort((one, other) =>
      (one.range.compareDocumentPosition(other.range) & Node.DOCUMENT_POSITION_FOLLOWING ? -1 : 1)); // from the top down
    return shown.includes(this.last) ? [this.last, ...shown.filter((strip) => strip !== this.last)] : shown;
  }

  /** Compute what is missing: all strips roughly, then finer; only that of the slider last used, and the curves against the tilt,
   * as finely as can be. Ends where something else is asked for meanwhile. */
  async run() {
    const round = ++this.round;
    document.documentElement.dataset.strips = "behind";
    show(this.figure);
    this.tilting.arrange(this.figure);
    if (!this.figure) return;
    const { workbench } = this;
    const scene = workbench.scene(workbench.state.editing);
    const strips = this.inOrder().filter((strip) => strip.prepare(scene));
    const curves = this.tilting.curves.filter((curve) => curve.prepare(scene));
    for (const count of COUNTS) {
      const wanted = count === COUNTS.at(-1) ? strips.filter((strip) => strip === this.last) : strips;
      for (const curve of [...wanted, ...curves]) if (!(await this.fill(curve, count, round))) return;
      document.documentElement.dataset.strips = String(count);
    }
  }

  /** Compute a curve's missing places among `count`. False where the work was dropped or failed. */
  async fill(curve, count, round) {
    for (let places = curve.missing(count); places.length; places = curve.missing(count)) {
      const found = await this.background.ask(curve.question(places));
      if (round !== this.round || !found) return false;
      if (found.error) {
        curve.fail(found.error.text);
        return false;
      }
      curve.take(found, places);
    }
    curve.draw(this.figure, this.workbench.start.coverage);
    return true;
  }

  drawAll() {
    this.tilting.arrange(this.figure);
    for (const curve of [...Strip.all, ...this.tilting.curves]) {
      if (!this.figure) curve.clear();
      else if (curve.points.length) curve.draw(this.figure, this.workbench.start.coverage);
    }
  }
}
