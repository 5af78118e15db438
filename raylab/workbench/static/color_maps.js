// The map in colour: pictures that raylab makes while the page rests, a coarse one first. While something moves, or where no picture
// has come yet, the luminance stands in as grey.

import { lines } from "./files.js";

/** The colour picture in the list of maps. Its values, which the pointer reads, are those of luminance. */
export const COLOR = {
  name: "color", title: "colour", readout: "luminance", unit: "", signed: false,
  definition: "The stone as a person sees it under daylight; white is the brightest direction of the dome, divided by the exposure",
};
const encode = (c) => (c <= 0.0031308 ? 12.92 * c : 1.055 * c ** (1 / 2.4) - 0.055);
const GREYS = Array.from({ length: 768 }, (_, k) => Math.round(255 * encode((Math.floor(k / 3) + 0.5) / 256)));

/** Grey for luminance, as a screen shows it. */
export const greyScale = ({ exposure = 1 }) => ({ name: COLOR.name, table: GREYS, low: 0, high: 1 / exposure, signed: false });

export class ColorMaps {
  /** `draw()` is called whenever there is a new picture. */
  constructor(workbench, draw) {
    Object.assign(this, { workbench, draw, seen: {}, asked: null });
    workbench.addEventListener("status", ({ detail }) => this.settle(detail));
  }

  get wanted() {
    return this.workbench.state.maps.includes(COLOR.name);
  }

  /** What a picture of a side is made of. */
  question(side) {
    return { ...this.workbench.scene(side), exposure: this.workbench.state.exposure ?? 1 };
  }

  /** The picture of a side: { bitmap, grid, about }; undefined while it is not that of the controls. */
  picture(side) {
    const one = this.seen[side];
    return one?.key === JSON.stringify(this.question(side)) ? one : undefined;
  }

  /** Ask for what is missing once the page is at rest; give up what is in work when something moves. */
  settle(status) {
    const keys = status === "exact" && this.wanted ? this.workbench.sides.map((side) => JSON.stringify(this.question(side))).join() : "";
    if (keys === (this.asked?.keys ?? "")) return;
    this.asked?.stop.abort();
    this.asked = keys ? { keys, stop: new AbortController() } : null;
    if (this.asked) this.fetchAll(this.asked.stop.signal);
  }

  async fetchAll(signal) {
    for (const step of ["coarse", "exact"]) {
      for (const side of this.workbench.sides) {
        const key = JSON.stringify(this.question(side));
        if (this.seen[side]?.key === key && (this.seen[side].step === step || this.seen[side].step === "exact")) continue;
        const found = await made("color", { ...this.question(side), step }, signal).catch((error) => ({ error: { text: error.message } }));
        if (signal.aborted) return;
        if (found.error) {
          this.workbench.notify("problem", { ...found.error, side });
          return;
        }
        const bitmap = await createImageBitmap(new Blob([bytes(found.png)], { type: "image/png" }));
        this.seen[side] = { key, step, bitmap, grid: found.grid, about: found.about };
        this.draw();
      }
    }
  }
}

/** What raylab makes in colour: the last line of its answer; `share(number)` is called with the progress. */
export async function made(what, question, signal, share = () => {}) {
  const answer = await fetch(`made/${what}`, { method: "POST", body: JSON.stringify(question), signal });
  if (!answer.ok) return answer.json();
  let last = { error: { text: `The ${what} was not finished; check that raylab is running.` } };
  for await (const line of lines(answer.body)) {
    if (line.share === undefined) last = line;
    else share(line.share);
  }
  return last;
}

/** Bytes of base64. */
export const bytes = (text) => Uint8Array.from(atob(text), (character) => character.charCodeAt(0));
