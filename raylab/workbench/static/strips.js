// All strips: computed one slider after the other while the page rests, the slider last used first; see strip.js.

import { el } from "./controls.js";
import { COUNTS, Strip } from "./strip.js";

const KEPT = "raylab-strips";

export class Strips {
  constructor(workbench, background, choice) {
    Object.assign(this, { workbench, background, choice, round: 0, rested: false, last: null });
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
    for (const strip of Strip.all) strip.element.classList.toggle("behind", strip !== this.last || document.activeElement !== strip.range);
  }

  /** The strips in sight, the one last used first. */
  inOrder() {
    Strip.all = Strip.all.filter(({ element }) => element.isConnected);
    const shown = Strip.all.filter((strip) => strip.shown).sort((one, other) =>
      (one.range.compareDocumentPosition(other.range) & Node.DOCUMENT_POSITION_FOLLOWING ? -1 : 1)); // from the top down
    return shown.includes(this.last) ? [this.last, ...shown.filter((strip) => strip !== this.last)] : shown;
  }

  /** Compute what is missing: all strips roughly, then finer; only that of the slider last used as finely as can be. Ends where
   * something else is asked for meanwhile. */
  async run() {
    const round = ++this.round;
    if (!this.figure) return;
    const { workbench } = this;
    const scene = workbench.scene(workbench.state.editing);
    const strips = this.inOrder().filter((strip) => strip.prepare(scene));
    for (const count of COUNTS) {
      const wanted = count === COUNTS.at(-1) ? strips.filter((strip) => strip === this.last) : strips;
      for (const strip of wanted) if (!(await this.fill(strip, count, round))) return;
      document.documentElement.dataset.strips = String(count);
    }
  }

  /** Compute a strip's missing places among `count`. False where the work was dropped or failed. */
  async fill(strip, count, round) {
    for (let places = strip.missing(count); places.length; places = strip.missing(count)) {
      const found = await this.background.ask(strip.question(places));
      if (round !== this.round || !found) return false;
      if (found.error) {
        strip.element.title = `Not drawn: ${found.error.text}`;
        return false;
      }
      strip.take(found, places);
    }
    strip.element.classList.remove("behind");
    strip.draw(this.figure, this.workbench.start.coverage);
    return true;
  }

  drawAll() {
    for (const strip of Strip.all) {
      if (!this.figure) strip.element.classList.remove("drawn");
      else if (strip.points.length) strip.draw(this.figure, this.workbench.start.coverage);
    }
  }
}
