// The maps: one figure for each map of each stone, all on one scale of mm and, per map, one scale of colours.

import { paint, paintBar } from "./color.js";
import { COLOR, ColorMaps, greyScale } from "./color_maps.js";
import { el, fixed, signed, readable } from "./controls.js";
import { LIVE, LiveMaps } from "./live_maps.js";
import { MapInput } from "./map_input.js";

const MARGIN = 1.06;
/** The difference of two luminance maps, computed in the page. */
const DIFFERENCE = {
  name: "difference", title: "luminance difference", unit: "", signed: true,
  definition: "Luminance of this stone minus luminance of the other stone, at the nearest pixel",
};

export class Maps {
  /** `colored`: the list has the map in colour, which the page fetches from its server; `darkness`: what may be outlined, see darkness.js. */
  constructor(workbench, root, probe, edges, { colored = true, darkness = null } = {}) {
    Object.assign(this, { workbench, root, edges, colored, darkness, figures: [], key: "", input: new MapInput(workbench, this, probe) });
    this.colors = new ColorMaps(workbench, () => this.draw());
    this.live = new LiveMaps(workbench, this);
    edges.addEventListener("change", () => this.draw());
    new ResizeObserver(() => {
      for (const figure of this.figures) figure.wide = undefined;
      this.draw();
    }).observe(root);
  }

  /** Build one figure per map and stone: two maps side by side for one stone, two stones side by side otherwise. True if rebuilt. */
  arrange() {
    const { sides } = this.workbench;
    const key = sides.join();
    if (key === this.key) return false;
    this.key = key;
    this.figures = [0, 1].flatMap((slot) => sides.map((side) => this.figure(slot, side)));
    this.root.replaceChildren(...this.figures.map(({ element }) => element));
    return true;
  }

  figure(slot, side) {
    const choice = el("select", { ariaLabel: `Map ${slot + 1} of stone ${side.toUpperCase()}` },
      ...this.offered.map(({ name, title }) => el("option", { value: name }, title)));
    choice.addEventListener("change", () => this.workbench.look({ maps: this.workbench.state.maps.map((one, at) => (at === slot ? choice.value : one)) }));
    const number = el("span", { className: "quiet" });
    const canvas = el("canvas");
    const box = el("div", { className: "map-frame", tabIndex: 0, role: "application", "aria-roledescription": "map" }, canvas,
      el("span", { className: "map-side", ariaHidden: "true" }, this.workbench.sides.length > 1 ? side.toUpperCase() : ""));
    const bar = el("canvas", { className: "color-bar", ariaHidden: "true" });
    const ticks = el("div", { className: "ticks" });
    const element = el("figure", { className: "map", "data-map": slot, "data-side": side },
      el("div", { className: "map-head" }, choice, number), box, bar, ticks);
    const figure = { slot, side, choice, number, canvas, box, bar, ticks, element, cross: [0, 0] };
    this.input.listen(figure);
    return figure;
  }

  /** The maps to choose from: those of raylab and, for two stones, the difference. */
  get offered() {
    const { start, sides } = this.workbench;
    const single = [...start.maps, ...(this.colored ? [COLOR] : []), LIVE];
    return sides.length > 1 ? [...single, { ...DIFFERENCE, colors: start.maps.find(({ signed }) => signed).colors }] : single;
  }

  legend(slot) {
    const chosen = this.workbench.state.maps[slot];
    return this.offered.find(({ name }) => name === chosen) ?? this.offered.find(({ name }) => name === "luminance");
  }

  /** The values of a map for one stone; undefined until they arrive. */
  values(side, { name }) {
    const answer = this.workbench.answers[side];
    if (name === COLOR.name || name === LIVE.name) return answer?.arrays["map luminance"];
    if (name !== DIFFERENCE.name) return answer?.arrays[`map ${name}`];
    const other = this.workbench.answers[side === "a" ? "b" : "a"];
    return answer?.arrays["map luminance"] && other?.arrays["map luminance"] ? difference(answer, other) : undefined;
  }

  /** Colours and range of a map, common to both stones. */
  scale(slot) {
    const legend = this.legend(slot);
    const { name, colors, signed } = legend;
    if (name === COLOR.name || name === LIVE.name) return greyScale(this.workbench.state);
    const ranges = this.workbench.sides.map((side) => this.workbench.answers[side]?.ranges[name] ?? this.values(side, legend)?.range).filter(Boolean);
    if (!ranges.length) return null;
    const [low, high] = [Math.min(...ranges.map((r) => r[0])), Math.max(...ranges.map((r) => r[1]))];
    return { table: this.workbench.start.colors[colors], low, high, signed };
  }

  draw() {
    this.arrange();
    for (const figure of this.figures) this.drawOne(figure);
    this.input.refresh();
  }

  /** A frame of the live picture has come. */
  drawLive() {
    for (const figure of this.figures) if (this.legend(figure.slot).name === LIVE.name) this.drawOne(figure);
  }

  drawOne(figure) {
    const { workbench } = this;
    const legend = this.legend(figure.slot);
    const answer = workbench.answers[figure.side];
    figure.choice.value = legend.name;
    figure.choice.title = legend.definition;
    const scale = this.scale(figure.slot);
    const values = this.values(figure.side, legend);
    if (!scale || !values) return;
    const context = this.clear(figure);
    const transform = this.transform(figure);
    const seen = legend.name === COLOR.name ? this.colors.picture(figure.side) : undefined;
    context.imageSmoothingQuality = "high";
    if (legend.name === LIVE.name) this.live.fit(context.canvas.width);
    const live = this.livePicture(figure);
    if (live) {
      context.drawImage(live.canvas, 0, 0, context.canvas.width, context.canvas.height);
    } else {
      const { x0_mm, y0_mm, pixel_mm, side = values.side } = seen?.grid ?? answer.grid;
      const whole = pixel_mm * side;
      context.drawImage(seen?.bitmap ?? pictureOf(values, scale, scale.name ? undefined : answer.arrays.light), transform.x(x0_mm), transform.y(y0_mm + whole), whole * transform.scale, whole * transform.scale);
    }
    if (this.edges.checked) this.drawEdges(figure, context, transform);
    this.drawDark(figure, context, transform);
    this.drawCross(figure, context, transform);
    if (scale.name) {
      figure.element.dataset.colored = seen?.step ?? "";
      figure.element.dataset.frames = live?.shown.frames ?? "";
      figure.ticks.classList.toggle("fault", legend.name === LIVE.name && Boolean(this.live.faultOf(figure.side)));
      return this.drawLegend(figure, legend, legend.name === COLOR.name ? colorWords(seen) : this.live.words(figure.side), seen?.about);
    }
    figure.bar.hidden = false;
    figure.ticks.classList.remove("fault");
    paintBar(figure.bar, scale);
    const unit = legend.unit === "degree" ? "°" : "";
    const middle = legend.signed ? 0 : (scale.low + scale.high) / 2;
    figure.ticks.replaceChildren(...[scale.low, middle, scale.high].map((tick) => el("span", {}, readable(tick, 3) + unit)));
    const other = workbench.answers[figure.side === "a" ? "b" : "a"];
    const text = headline(legend.name, answer.summary, other?.summary);
    figure.number.textContent = text;
    figure.box.ariaLabel = `${legend.title} of stone ${figure.side.toUpperCase()}, ${text}. ` +
      "Arrow keys tilt the stone, Home returns to face-up, Shift with arrow keys moves a mark, Enter follows the view ray of the mark.";
    figure.element.classList.toggle("behind", workbench.faulty.has(figure.side));
  }

  /** What stands below and beside a map in colour: `words`, and more `about` it under the pointer. */
  drawLegend(figure, { title, name }, words, about = "") {
    figure.bar.hidden = true;
    figure.ticks.replaceChildren(el("span", { title: about }, words));
    figure.number.textContent = headline("luminance", this.workbench.answers[figure.side].summary);
    figure.box.ariaLabel = `${title} of stone ${figure.side.toUpperCase()}. Arrow keys tilt the stone, Home returns to face-up, ` +
      "Shift with arrow keys moves a mark, Enter follows the view ray of the mark.";
    figure.choice.value = name;
    figure.element.classList.toggle("behind", this.workbench.faulty.has(figure.side));
  }

  clear(figure) {
    const { canvas, box } = figure;
    figure.wide ??= box.clientWidth; // asking for it anew with each picture would lay out the whole page at once
    const side = Math.max(1, Math.round(figure.wide * Math.min(devicePixelRatio || 1, 2)));
    if (canvas.width !== side) canvas.width = canvas.height = side;
    const context = canvas.getContext("2d");
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, side, side);
    return context;
  }

  /** The live picture that a figure shows; undefined where it shows another map, or none yet. */
  livePicture({ slot, side }) {
    return this.legend(slot).name === LIVE.name ? this.live.picture(side) : undefined;
  }

  /** The rotation of the stone that a figure shows, nine numbers row by row: a live picture is ahead of raylab's. */
  turn(figure) {
    return this.livePicture(figure)?.turn ?? this.workbench.answers[figure.side].turn.flat();
  }

  /** Middle and half side, mm on the map plane, of what the figures of a stone show: the same scale for both and for every tilt. */
  sight(side, turn) {
    const shapes = this.workbench.sides.map((one) => this.workbench.shapes[one]).filter(Boolean);
    const [cx, cy] = middle(this.workbench.shapes[side]);
    return {
      middle: [turn[0] * cx + turn[1] * cy, turn[3] * cx + turn[4] * cy],
      half: 0.5 * MARGIN * Math.max(...shapes.map(({ size_mm }) => Math.max(size_mm[0], size_mm[1]))),
    };
  }

  /** From mm on the map plane to pixels of the canvas. */
  transform(figure) {
    const { middle: [ox, oy], half: reach } = this.sight(figure.side, this.turn(figure));
    const half = figure.canvas.width / 2;
    const scale = half / reach;
    return { scale, x: (mm) => half + (mm - ox) * scale, y: (mm) => half - (mm - oy) * scale,
      toX: (pixel) => ox + (pixel - half) / scale, toY: (pixel) => oy - (pixel - half) / scale };
  }

  drawEdges(figure, context, transform) {
    const { side, canvas, wide } = figure;
    const shape = this.workbench.shapes[side];
    const turn = this.turn(figure);
    const seen = (x, y, z) => [transform.x(turn[0] * x + turn[1] * y + turn[2] * z), transform.y(turn[3] * x + turn[4] * y + turn[5] * z)];
    const trace = (loop) => {
      context.beginPath();
      loop.forEach((v, k) => {
        const [x, y] = seen(shape.vertices[3 * v], shape.vertices[3 * v + 1], shape.vertices[3 * v + 2]);
        if (k) context.lineTo(x, y); else context.moveTo(x, y);
      });
      context.closePath();
    };
    const dots = canvas.width / (wide || 1);
    const nDotV = (f) => turn[6] * shape.normals[3 * f] + turn[7] * shape.normals[3 * f + 1] + turn[8] * shape.normals[3 * f + 2];
    for (let f = 0; f < shape.loops.length; f++) {
      const chosen = `${shape.facets[f][0]} ${shape.facets[f][1]}` === this.workbench.state.facet;
      if (nDotV(f) <= 1e-9 || (this.workbench.onGirdle(shape.facets[f]) && !chosen)) continue;
      trace(shape.loops[f]);
      for (const [width, color] of chosen ? [[4.5, "#000"], [2.2, "#fff"]] : [[1.6, "rgb(0 0 0 / 0.25)"], [0.7, "rgb(255 255 255 / 0.5)"]]) {
        context.lineWidth = width * dots;
        context.strokeStyle = color;
        context.stroke();
      }
    }
  }

  /** The outline of the largest dark area, where it is asked for and known. */
  drawDark({ side, canvas, wide }, context, transform) {
    const outline = this.darkness?.outline(side);
    if (!outline) return;
    const dots = canvas.width / (wide || 1);
    context.beginPath();
    for (let k = 0; k < outline.length; k += 4) {
      context.moveTo(transform.x(outline[k]), transform.y(outline[k + 1]));
      context.lineTo(transform.x(outline[k + 2]), transform.y(outline[k + 3]));
    }
    for (const [width, color] of [[3.4, "#000"], [1.6, "#fff"]]) {
      context.lineWidth = width * dots;
      context.strokeStyle = color;
      context.stroke();
    }
  }

  drawCross(figure, context, transform) {
    const path = this.workbench.path;
    const point = figure.marked ? figure.cross : null;
    if (!point && !(path?.side === figure.side)) return;
    const [x, y] = point ?? path.at;
    const dots = figure.canvas.width / (figure.wide || 1);
    for (const [width, color] of [[4, "#000"], [1.6, "#fff"]]) {
      context.lineWidth = width * dots;
      context.strokeStyle = color;
      context.beginPath();
      context.arc(transform.x(x), transform.y(y), 6 * dots, 0, 7);
      context.stroke();
    }
  }
}

function colorWords(seen) {
  if (!seen) return "luminance in grey until the colours are computed";
  return `as seen under daylight${seen.step === "exact" ? "" : " (coarse; the fine picture follows)"}`;
}

function middle({ vertices }) {
  const low = [Infinity, Infinity], high = [-Infinity, -Infinity];
  for (let k = 0; k < vertices.length; k += 3) {
    for (const axis of [0, 1]) {
      low[axis] = Math.min(low[axis], vertices[k + axis]);
      high[axis] = Math.max(high[axis], vertices[k + axis]);
    }
  }
  return [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2];
}

/** The painted picture of a map, kept for each answer and scale. */
function pictureOf(values, scale, light) {
  const key = `${scale.name ?? ""} ${scale.low} ${scale.high}`;
  if (values.picture?.key !== key) {
    const canvas = new OffscreenCanvas(values.side, values.side);
    canvas.getContext("2d").putImageData(paint(values, scale, light), 0, 0);
    values.picture = { key, canvas };
  }
  return values.picture.canvas;
}

/** Luminance of one stone minus that of another, on the pixels of the first; the range is symmetric about zero. */
function difference(answer, other) {
  const { grid, arrays } = answer;
  const [mine, theirs] = [arrays["map luminance"], other.arrays["map luminance"]];
  if (mine.less?.theirs === theirs) return mine.less.values;
  const [n, m] = [mine.side, theirs.side];
  const pixel = (k, from, to) => Math.floor((from + (k + 0.5) * grid.pixel_mm - to) / other.grid.pixel_mm);
  const columns = Int32Array.from({ length: n }, (_, k) => pixel(k, grid.x0_mm, other.grid.x0_mm));
  const values = new Float32Array(n * n).fill(NaN);
  let most = 0;
  for (let row = 0; row < n; row++) {
    const at = pixel(row, grid.y0_mm, other.grid.y0_mm);
    if (at < 0 || at >= m) continue;
    for (let k = 0; k < n; k++) {
      if (columns[k] < 0 || columns[k] >= m) continue;
      const value = mine[row * n + k] - theirs[at * m + columns[k]];
      values[row * n + k] = value;
      if (Math.abs(value) > most) most = Math.abs(value);
    }
  }
  const even = most || 1;
  mine.less = { theirs, values: Object.assign(values, { side: n, range: [-even, even] }) };
  return values;
}

/** The number of a map over the whole stone. */
function headline(name, summary, other) {
  if (name === DIFFERENCE.name) return other ? `mean ${signed(summary.stats.brightness - other.stats.brightness, 4)}` : "";
  if (name === "contrast") return `RMS ${fixed(summary.stats.contrast_rms)}`;
  if (name === "luminance") return `brightness ${fixed(summary.stats.brightness)}`;
  const value = name === "untraced" ? summary.brackets.untraced[1] : summary.ledger[name] ?? summary.stats[name];
  return value === undefined ? "" : `mean ${fixed(value)}`;
}
