// Where a small speck would show: the field of visibility of the edited stone, computed when it is asked for, and shown in a level and
// an upright slice through the inclusion that is chosen, or through any height.

import { bytes, made } from "./color_maps.js";
import { el, fixed } from "./controls.js";

const COLORS = "magma"; // as raylab's own pictures of slices
const SCALE = 4; // pixels of a canvas for each voxel

export class VisibilitySlices {
  constructor(workbench) {
    Object.assign(this, { workbench, found: null, key: "", stop: null, chosen: -1, at: null });
    this.button = el("button", { type: "button", id: "ask-visibility" }, "Compute where specks show");
    this.button.addEventListener("click", () => (this.stop ? this.stop.abort() : this.compute()));
    this.share = el("progress", { max: 1, value: 0, hidden: true, ariaLabel: "Progress of the field of visibility" });
    this.level = el("input", { type: "range", min: 0, step: 1, id: "visibility-level", autocomplete: "off" });
    this.level.addEventListener("input", () => {
      this.at[2] = Number(this.level.value);
      this.draw();
    });
    this.slices = ["level", "upright"].map((name) => {
      const canvas = el("canvas", { role: "img", "data-slice": name });
      return { canvas, words: el("figcaption") };
    });
    this.words = el("div");
    this.shown = el("div", { hidden: true },
      el("div", { className: "slices" }, ...this.slices.map(({ canvas, words }) => el("figure", {}, canvas, words))),
      el("label", { className: "row" }, el("span", {}, "Height of the level slice"), this.level), this.words);
    this.element = el("div", { id: "visibility" },
      el("p", { className: "note" }, "How much of the face's luminance a small dark speck would take, at each place of the stone; takes some seconds."),
      el("div", { className: "buttons" }, this.button),
      this.share, this.shown);
  }

  get question() {
    return this.workbench.scene(this.workbench.state.editing);
  }

  async compute() {
    const { question } = this;
    const stop = new AbortController();
    this.stop = stop;
    this.share.value = 0;
    this.show(this.chosen);
    const found = await made("visibility", question, stop.signal, (done) => { this.share.value = done; })
      .catch((error) => ({ error: { text: error.message } }));
    this.stop = null;
    if (!stop.signal.aborted && found.error) this.workbench.notify("problem", { ...found.error, side: this.workbench.state.editing });
    if (!stop.signal.aborted && !found.error) {
      Object.assign(this, { found: { ...found, values: bytes(found.levels) }, key: JSON.stringify(question), at: null });
    }
    this.show(this.chosen);
  }

  /** Show the slices through inclusion number `chosen`, -1 for none of them. */
  show(chosen) {
    const { found } = this;
    if (chosen !== this.chosen) this.at = null;
    this.chosen = chosen;
    this.button.textContent = this.stop ? "Stop" : found ? "Compute anew" : "Compute where specks show";
    this.share.hidden = !this.stop;
    this.shown.hidden = !found;
    if (!found) return;
    this.shown.classList.toggle("behind", this.key !== JSON.stringify(this.question));
    this.at ??= this.voxel(found.places[chosen]?.center_mm ?? [0, 0, 0]);
    this.level.max = found.shape[2] - 1;
    this.level.value = this.at[2];
    this.draw();
    this.words.replaceChildren(...this.said(found.places[chosen]).map((line) => el("p", { className: "note" }, line)));
  }

  /** The voxel of a point, within the box. */
  voxel(point) {
    const { first_mm, step_mm, shape } = this.found;
    return point.map((one, k) => Math.min(shape[k] - 1, Math.max(0, Math.round((one - first_mm[k]) / step_mm[k]))));
  }

  draw() {
    const { found, at } = this;
    const place = found.places[this.chosen];
    const [, ny, nz] = found.shape;
    const value = (x, y, z) => found.values[(x * ny + y) * nz + z];
    const mm = (k) => fixed(found.first_mm[k] + at[k] * found.step_mm[k], 2);
    const marked = place && this.voxel(place.center_mm);
    const [level, upright] = this.slices;
    this.slice(level.canvas, [0, 1], (x, y) => value(x, y, at[2]), marked?.[2] === at[2] ? marked : null);
    level.words.textContent = `seen from above, z = ${mm(2)} mm`;
    this.slice(upright.canvas, [0, 2], (x, z) => value(x, at[1], z), marked);
    upright.words.textContent = `seen from the side, y = ${mm(1)} mm`;
    for (const { canvas, words } of this.slices) canvas.ariaLabel = `Luminance that a small speck takes, ${words.textContent}`;
  }

  /** A slice across two axes, the second one upwards, with a ring around the voxel `marked`. */
  slice(canvas, [across, up], value, marked) {
    const { shape, step_mm } = this.found;
    const colors = this.workbench.start.colors[COLORS];
    const [width, height] = [shape[across], shape[up]];
    const picture = new ImageData(width, height);
    for (let j = 0; j < height; j += 1) {
      for (let i = 0; i < width; i += 1) {
        const level = value(i, height - 1 - j);
        if (level) picture.data.set([...colors.slice(3 * level, 3 * level + 3), 255], 4 * (j * width + i));
      }
    }
    canvas.width = SCALE * width;
    canvas.height = Math.round((SCALE * height * step_mm[up]) / step_mm[across]);
    const small = el("canvas", { width, height });
    small.getContext("2d").putImageData(picture, 0, 0);
    const ink = canvas.getContext("2d");
    ink.imageSmoothingEnabled = false;
    ink.drawImage(small, 0, 0, canvas.width, canvas.height);
    if (!marked) return;
    for (const [color, radius] of [["#000", 7], ["#fff", 5.5]]) {
      ink.strokeStyle = color;
      ink.lineWidth = 1.5;
      ink.beginPath();
      ink.arc(SCALE * (marked[across] + 0.5), canvas.height * (1 - (marked[up] + 0.5) / height), radius, 0, 7);
      ink.stroke();
    }
  }

  /** Lines on the inclusion, on the whole stone and on what the colours mean. */
  said(place) {
    const { found } = this;
    const lines = [`Black is none; the brightest colour is ${fixed(found.top_pct, 1)} % of the luminance for each mm² of a speck's cross-section, or more. Standard error of a voxel ${fixed(100 * found.relative_error, 1)} % (median). Inclusions are left out.`];
    if (place?.outside) lines.push(`${place.name}: ${place.outside}.`);
    else if (place) {
      lines.push(`At ${place.name} a small speck has ${fixed(place.images, 1)} images and takes ${fixed(place.lost_pct, 2)} ± ${fixed(place.error_pct, 2)} % for each mm².`);
    }
    const { share, below_pct, regions } = found.least;
    lines.push(`In ${fixed(100 * share, 0)} % of the stone it takes least, at most ${fixed(below_pct, 2)} % for each mm². The largest parts: ${regions.join("; ")}.`);
    return lines;
  }
}
