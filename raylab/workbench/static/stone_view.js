// The stone in 3D: turn it, choose a facet, show the path of a view ray with the light that leaves at each hit.

import { facetName } from "./facet_name.js";
import { Painter } from "./gl.js";
import { inclusionLines } from "./inclusion_lines.js";

const SIGHTS = {
  above: [1, 0, 0, 0, 1, 0, 0, 0, 1],
  side: [1, 0, 0, 0, 0, 1, 0, -1, 0],
  below: [1, 0, 0, 0, -1, 0, 0, 0, -1],
};
const RADIANS_PER_PIXEL = 0.009;
const CLICK = 4;
const FIT = 0.86;
/** Runs of a followed ray that are drawn; a trapped one can go on for a hundred. */
export const MOST_RUNS = 9;

export class StoneView {
  constructor(workbench, canvas, missing) {
    Object.assign(this, { workbench, canvas, zoom: 1, hovered: -1, turn: tilted(SIGHTS.above, -1.0, 0.35) });
    try {
      this.painter = new Painter(canvas);
    } catch (error) {
      canvas.hidden = true;
      missing.hidden = false;
      missing.title = error.message;
      return;
    }
    canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
    canvas.addEventListener("webglcontextrestored", () => {
      this.painter = new Painter(canvas);
      this.edges = this.trail = this.mesh = this.inside = undefined;
      this.take();
    });
    this.listen();
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  get shape() {
    return this.workbench.shapes[this.workbench.state.editing];
  }

  /** A new shape, or the other stone: upload its facets and edges. */
  take() {
    if (!this.painter || !this.shape) return;
    const { loops, vertices, normals } = this.shape;
    const at = (v) => vertices.subarray(3 * v, 3 * v + 3);
    const count = loops.reduce((sum, loop) => sum + 3 * (loop.length - 2), 0);
    const rows = new Float32Array(7 * count);
    const edges = [];
    let row = 0;
    this.radius = 0;
    loops.forEach((loop, f) => {
      const normal = normals.subarray(3 * f, 3 * f + 3);
      loop.forEach((v, k) => {
        edges.push([at(v), at(loop[(k + 1) % loop.length]), normal]);
        this.radius = Math.max(this.radius, Math.hypot(...at(v)));
        if (k < 1 || k + 1 >= loop.length) return;
        for (const corner of [loop[0], v, loop[k + 1]]) {
          rows.set(at(corner), row);
          rows.set(normal, row + 3);
          rows[row + 6] = f;
          row += 7;
        }
      });
    });
    this.mesh = this.painter.mesh(this.mesh, rows);
    this.edges = this.painter.segments(this.edges, edges);
    this.inside = this.painter.segments(this.inside, inclusionLines(this.shape.inclusions, this.radius));
    this.draw();
  }

  draw() {
    if (!this.painter || !this.shape || !this.mesh || this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.drawNow();
    });
  }

  drawNow() {
    const { canvas, painter, shape } = this;
    const dots = Math.min(devicePixelRatio || 1, 2);
    const side = Math.max(1, Math.round(canvas.clientWidth * dots));
    if (canvas.width !== side) canvas.width = canvas.height = side;
    const scale = (FIT * this.zoom) / this.radius;
    const view = { turn: this.turn, scale: [scale, scale] };
    const line = { ...view, pixels: [side / 2, side / 2] };
    const [body, ink, accent] = ["--body", "--ink", "--accent"].map((name) => tone(canvas, name));
    const chosen = shape.facets.findIndex((row) => facetName(row) === this.workbench.state.facet);
    const fill = { ...view, body, accent, chosen, hovered: this.hovered };
    painter.clear();
    for (const [ahead, alpha, width, depth] of [[false, 0.55, 0.5, 0.35], [true, 0.6, 0.75, 0.85]]) {
      painter.faces(this.mesh, ahead, { ...fill, alpha });
      painter.lines(this.edges, { ...line, side: ahead ? 1 : -1, width: width * dots, ink: [...ink, depth] });
    }
    painter.lines(this.inside, { ...line, width: 1.2 * dots, ink: [...accent, 1] });
    this.drawPath(line, ink, dots);
    canvas.dataset.drawn = String(Number(canvas.dataset.drawn ?? 0) + 1);
  }

  /** The followed ray: its run inside, and a spike where light leaves, as long as the share is large. */
  drawPath(line, ink, dots) {
    const { path } = this.workbench;
    if (!path || path.side !== this.workbench.state.editing || !path.hits.length) return;
    const hits = path.hits.slice(0, MOST_RUNS);
    const points = [path.start_mm, ...hits.map((hit) => hit.point_mm)];
    const none = [0, 0, 0];
    const run = points.slice(1).map((point, k) => [points[k], point, none]);
    const spikes = hits.filter((hit) => hit.direction && hit.weight > 0.005)
      .map((hit) => [hit.point_mm, hit.point_mm.map((at, k) => at + hit.direction[k] * this.radius * 0.6 * Math.sqrt(hit.weight)), none]);
    this.trail = this.painter.segments(this.trail, run);
    this.painter.lines(this.trail, { ...line, width: 1.5 * dots, ink: [...ink, 1] });
    this.trail = this.painter.segments(this.trail, spikes);
    this.painter.lines(this.trail, { ...line, width: 2.4 * dots, ink: [...tone(this.canvas, "--accent"), 1] });
  }

  facing(f) {
    const { normals } = this.shape;
    return this.turn[6] * normals[3 * f] + this.turn[7] * normals[3 * f + 1] + this.turn[8] * normals[3 * f + 2];
  }

  // --- looking and choosing --------------------------------------------------------------------------------------------

  look(sight) {
    this.turn = sight === "seen" ? (this.workbench.answers[this.workbench.state.editing]?.turn.flat() ?? SIGHTS.above) : [...SIGHTS[sight]];
    this.draw();
  }

  /** The point of a facet's plane under the pointer, mm, in the stone's frame. */
  spot(event, f) {
    const { normals, distances } = this.shape;
    const { turn: t } = this;
    const point = this.onScreen(event);
    const ahead = (distances[f] - [0, 1, 2].reduce((sum, k) => sum + normals[3 * f + k] * point[k], 0)) / this.facing(f);
    return point.map((at, k) => at + ahead * t[6 + k]);
  }

  /** The point under the pointer in the plane of the screen through the stone's origin. */
  onScreen(event) {
    const box = this.canvas.getBoundingClientRect();
    const scale = (FIT * this.zoom) / this.radius;
    const [x, y] = [((event.clientX - box.left) / box.width) * 2 - 1, 1 - ((event.clientY - box.top) / box.height) * 2];
    return [0, 1, 2].map((k) => (this.turn[k] * x + this.turn[3 + k] * y) / scale);
  }

  /** The facet under the pointer: of the planes that face the eye the last one that the line of sight passes; -1 for none. */
  under(event) {
    const { normals, distances, loops } = this.shape;
    const point = this.onScreen(event);
    let [found, nearest, farthest] = [-1, -Infinity, Infinity];
    for (let f = 0; f < loops.length; f++) {
      const [nx, ny, nz] = normals.subarray(3 * f, 3 * f + 3);
      const distance = distances[f] - (nx * point[0] + ny * point[1] + nz * point[2]);
      const nDotV = -this.facing(f);
      if (nDotV < 0 && distance / nDotV > nearest) [found, nearest] = [f, distance / nDotV];
      else if (nDotV > 0) farthest = Math.min(farthest, distance / nDotV);
    }
    return nearest < farthest ? found : -1;
  }

  /** A click chooses a facet, or plots an inclusion through it. */
  pick(event) {
    const { aim, state } = this.workbench;
    const f = this.under(event);
    if (aim && f >= 0) aim.plot(state.editing, { facet: facetName(this.shape.facets[f]), point_mm: this.spot(event, f) });
    else if (!aim) this.choose(f);
  }

  choose(f) {
    const name = f >= 0 ? facetName(this.shape.facets[f]) : null;
    this.workbench.look({ facet: name === this.workbench.state.facet ? null : name });
  }

  spin(dx, dy) {
    this.turn = tilted(this.turn, dy, dx);
    this.draw();
  }

  listen() {
    const { canvas } = this;
    let from = null;
    canvas.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      canvas.setPointerCapture(event.pointerId);
      from = { x: event.clientX, y: event.clientY, far: 0 };
    });
    canvas.addEventListener("pointermove", (event) => {
      if (!this.shape) return;
      if (!from) {
        const under = this.under(event);
        canvas.title = under >= 0 ? facetName(this.shape.facets[under]) : "";
        if (under !== this.hovered) { this.hovered = under; this.draw(); }
        return;
      }
      const [dx, dy] = [event.clientX - from.x, event.clientY - from.y];
      from = { x: event.clientX, y: event.clientY, far: from.far + Math.hypot(dx, dy) };
      if (from.far > CLICK) this.spin(dx * RADIANS_PER_PIXEL, dy * RADIANS_PER_PIXEL);
    });
    canvas.addEventListener("pointerup", (event) => {
      if (from && from.far <= CLICK && this.shape) this.pick(event);
      from = null;
    });
    canvas.addEventListener("pointercancel", () => { from = null; });
    canvas.addEventListener("pointerleave", () => { this.hovered = -1; this.draw(); });
    canvas.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.grow(event.deltaY < 0 ? 1.1 : 1 / 1.1);
    }, { passive: false });
    canvas.addEventListener("keydown", (event) => this.key(event));
  }

  grow(factor) {
    this.zoom = Math.min(8, Math.max(0.5, this.zoom * factor));
    this.draw();
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || !this.shape) return;
    const spin = { ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1] }[event.key];
    const count = this.shape.facets.length;
    const now = this.shape.facets.findIndex((row) => facetName(row) === this.workbench.state.facet);
    if (spin) this.spin(...spin);
    else if (event.key === "+" || event.key === "=") this.grow(1.1);
    else if (event.key === "-") this.grow(1 / 1.1);
    else if (event.key === ".") this.choose((now + 1) % count);
    else if (event.key === ",") this.choose((now <= 0 ? count : now) - 1);
    else return;
    event.preventDefault();
  }
}

/** A rotation turned further about the screen's axes: up-down by `dx` radians about x, sideways by `dy` about y. */
function tilted(m, dx, dy) {
  const [cx, sx, cy, sy] = [Math.cos(dx), Math.sin(dx), Math.cos(dy), Math.sin(dy)];
  const up = [cy, 0, sy, sx * sy, cx, -sx * cy, -cx * sy, sx, cx * cy];
  return Array.from({ length: 9 }, (_, k) => {
    const [row, column] = [3 * Math.floor(k / 3), k % 3];
    return up[row] * m[column] + up[row + 1] * m[3 + column] + up[row + 2] * m[6 + column];
  });
}

const tones = document.createElement("canvas").getContext("2d", { willReadFrequently: true });

/** A colour of the style sheet as red, green, blue from 0 to 1. */
function tone(element, name) {
  tones.fillStyle = resolved(element, name);
  tones.fillRect(0, 0, 1, 1);
  return Array.from(tones.getImageData(0, 0, 1, 1).data.subarray(0, 3), (c) => c / 255);
}

function resolved(element, name) {
  element.style.caretColor = `var(${name})`; // a property that a canvas doesn't use itself
  return getComputedStyle(element).caretColor;
}
