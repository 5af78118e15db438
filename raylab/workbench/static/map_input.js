// Input on a map: drag or arrow keys tilt the stone, a click or Enter follows the light, the pointer reads values.

import { fixed } from "./controls.js";

const DEGREES_PER_PIXEL = 0.12;
const MOST_TILT = 45;
const CLICK = 4;
const HINT = "Point at a map to read values; click to follow the view ray of that point.";

export class MapInput {
  constructor(workbench, maps, probe) {
    Object.assign(this, { workbench, maps, probe });
    this.rest();
  }

  /** No point is read. */
  rest() {
    this.at = null; // { side, spot }: the point whose values are shown
    this.probe.textContent = HINT;
  }

  /** Read the same point again: its values have changed with a map, the dome or the stone. */
  refresh() {
    if (!this.at) return;
    if (this.workbench.answers[this.at.side]) this.say(this.at, this.at.spot);
    else this.rest();
  }

  listen(figure) {
    const { box } = figure;
    let from = null;
    box.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      box.setPointerCapture(event.pointerId);
      from = { x: event.clientX, y: event.clientY, tilt: this.tilt(), far: false };
    });
    box.addEventListener("pointermove", (event) => {
      if (!from) { this.read(figure, event); return; }
      const [dx, dy] = [event.clientX - from.x, event.clientY - from.y];
      from.far ||= Math.hypot(dx, dy) > CLICK;
      if (from.far) this.lean(from.tilt[0] + dx * DEGREES_PER_PIXEL, from.tilt[1] - dy * DEGREES_PER_PIXEL, false);
    });
    const end = (event) => {
      if (from && event.type === "pointerup") {
        if (from.far) { this.workbench.look({}, true); this.read(figure, event); }
        else this.pick(figure, this.spot(figure, event));
      }
      from = null;
    };
    box.addEventListener("pointerup", end);
    box.addEventListener("pointercancel", end);
    box.addEventListener("pointerleave", () => { if (!from) this.rest(); });
    box.addEventListener("keydown", (event) => this.key(figure, event));
    box.addEventListener("blur", () => { figure.marked = false; this.maps.drawOne(figure); this.rest(); });
  }

  tilt() {
    const { tilt_deg: t, tilt_azimuth_deg: a } = this.workbench.state;
    return [t * Math.cos((a * Math.PI) / 180), t * Math.sin((a * Math.PI) / 180)];
  }

  /** Lean the table's normal towards (x, y), degrees. */
  lean(x, y, rested) {
    const tilt = Math.min(MOST_TILT, Math.round(10 * Math.hypot(x, y)) / 10);
    const azimuth = tilt ? (Math.round((Math.atan2(y, x) * 180) / Math.PI) + 360) % 360 : 0;
    this.workbench.look({ tilt_deg: tilt, tilt_azimuth_deg: azimuth }, rested);
  }

  key(figure, event) {
    const step = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (step && event.shiftKey) {
      const extent = this.workbench.shapes[figure.side]?.size_mm[0] ?? 1;
      figure.cross = figure.cross.map((at, k) => at + (step[k] * extent) / 50);
      figure.marked = true;
      this.maps.drawOne(figure);
      this.say(figure, figure.cross);
    } else if (step) {
      const [x, y] = this.tilt();
      this.lean(x + step[0], y + step[1], true);
    } else if (event.key === "Home") {
      this.lean(0, 0, true);
    } else if (event.key === "Enter") {
      this.pick(figure, figure.cross);
    } else {
      return;
    }
    event.preventDefault();
  }

  spot({ canvas, ...figure }, event) {
    const box = canvas.getBoundingClientRect();
    const transform = this.maps.transform({ canvas, ...figure });
    const dots = canvas.width / box.width;
    return [transform.toX((event.clientX - box.left) * dots), transform.toY((event.clientY - box.top) * dots)];
  }

  pick(figure, [x, y]) {
    figure.cross = [x, y];
    if (!this.workbench.answers[figure.side]) return;
    if (this.workbench.aim) this.workbench.aim.plot(figure.side, { x_mm: x, y_mm: y });
    else this.workbench.follow(figure.side, x, y);
  }

  read(figure, event) {
    if (this.workbench.answers[figure.side]) this.say(figure, this.spot(figure, event));
  }

  /** Show the values at a point. */
  say({ side }, [x, y]) {
    this.at = { side, spot: [x, y] };
    const { grid } = this.workbench.answers[side];
    const legends = new Map([0, 1].map((slot) => this.maps.legend(slot)).map((legend) => [legend.name, legend]));
    const parts = [...legends.values()].map(({ name, title, readout, unit }) => {
      const values = this.maps.values(side, { name });
      const [column, row] = [Math.floor((x - grid.x0_mm) / grid.pixel_mm), Math.floor((y - grid.y0_mm) / grid.pixel_mm)];
      const inside = values && column >= 0 && row >= 0 && column < values.side && row < values.side;
      return `${readout ?? title} ${inside ? fixed(values[row * values.side + column], 3) + (unit === "degree" ? "°" : "") : "–"}`;
    });
    this.probe.textContent = `x ${fixed(x, 2)} mm, y ${fixed(y, 2)} mm: ${parts.join(", ")}`;
  }
}
