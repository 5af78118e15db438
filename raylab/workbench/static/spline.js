// A surrogate of a sweep as raylab sends it: a sum over its designs, computed here as often as a slider moves. Its terms and their
// source stand in raylab/sweeps/surrogates.py.

import { bytes } from "./color_maps.js";

const floats = (text) => new Float64Array(bytes(text).buffer);

export class Spline {
  /** `model` is raylab's: { axes, points, none, numbers: [{ weights, constant, slopes, ... }] }. */
  constructor(model) {
    Object.assign(this, { axes: model.axes, points: floats(model.points), none: floats(model.none) });
    this.numbers = model.numbers.map((one) => ({ ...one, weights: floats(one.weights) }));
  }

  /** A value of an axis in its unit interval, and back. */
  unit(k, value) {
    const { low, high } = this.axes[k];
    return (value - low) / (high - low);
  }

  value(k, unit) {
    const { low, high } = this.axes[k];
    return low + unit * (high - low);
  }

  /** A number at a point of the unit box. */
  at({ weights, constant, slopes }, point) {
    const K = this.axes.length;
    let sum = slopes.reduce((total, slope, k) => total + slope * point[k], constant);
    weights.forEach((weight, i) => {
      let square = 0;
      for (let k = 0; k < K; k++) square += (point[k] - this.points[K * i + k]) ** 2;
      if (square > 0) sum += weight * 0.5 * square * Math.log(square);
    });
    return sum;
  }

  /**
   * A number on a square of `side` cells over the axes `across` and `up`, the others as in `point`; rows from the lowest up. NaN
   * where the nearest design is no stone.
   */
  map(number, across, up, point, side) {
    const values = new Float64Array(side * side);
    values.side = side;
    const { weights, constant, slopes } = number;
    const plain = slopes.reduce((total, slope, k) => total + (k === across || k === up ? 0 : slope * point[k]), constant);
    const near = new Float64Array(side * side).fill(Infinity);
    const middle = (cell) => (cell + 0.5) / side;
    for (let row = 0; row < side; row++) for (let k = 0; k < side; k++) values[row * side + k] = plain + slopes[across] * middle(k) + slopes[up] * middle(row);
    this.each(this.points, across, up, point, side, (i, at, square) => {
      if (square < near[at]) near[at] = square;
      if (square > 0) values[at] += weights[i] * 0.5 * square * Math.log(square);
    });
    this.each(this.none, across, up, point, side, (_, at, square) => { if (square < near[at]) values[at] = NaN; });
    return values;
  }

  /** Call `met(design, cell, square of its distance)` for each of the designs, which are `points` of the unit box, and each cell. */
  each(points, across, up, point, side, met) {
    const K = this.axes.length;
    const along = new Float64Array(side);
    for (let i = 0; i * K < points.length; i++) {
      let rest = 0;
      for (let k = 0; k < K; k++) if (k !== across && k !== up) rest += (point[k] - points[K * i + k]) ** 2;
      for (let cell = 0; cell < side; cell++) along[cell] = ((cell + 0.5) / side - points[K * i + across]) ** 2;
      for (let row = 0; row < side; row++) {
        const so_far = rest + ((row + 0.5) / side - points[K * i + up]) ** 2;
        for (let cell = 0; cell < side; cell++) met(i, row * side + cell, so_far + along[cell]);
      }
    }
  }
}
