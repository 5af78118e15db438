// How many pixels this screen has to the millimetre, for pictures of true size. No browser tells; CSS calls 96 pixels an inch on
// every screen. So the number is typed, or found with a card held to the screen, and kept for other pages on this machine.
// It counts the screen's own pixels: the browser's magnification, and that of the system, cancel by `devicePixelRatio`.

const KEPT = "raylab-pixels-per-inch";
const MM_PER_INCH = 25.4;
const CSS_PER_INCH = 96;
/** Pixels per inch that are believed: between a large television and twice the finest telephone. */
export const PER_INCH = { low: 20, high: 1200 };
/** Short side of a card of the size ID-1 (ISO/IEC 7810), mm: it is narrower than a telephone. */
export const CARD_MM = 53.98;

const sensible = (number) => number >= PER_INCH.low && number <= PER_INCH.high;

export class Screen {
  constructor() {
    this.set(this.kept(), "as it was stated before");
  }

  kept() {
    try {
      return Number(localStorage.getItem(KEPT));
    } catch {
      return 0; // this browser keeps nothing for such a page
    }
  }

  /** Take a number of pixels to the inch and where it comes from; one that can't be is not taken. Returns whether it was. */
  set(perInch, source) {
    const taken = sensible(perInch);
    if (taken) Object.assign(this, { stated: perInch, source });
    return taken;
  }

  keep() {
    try {
      localStorage.setItem(KEPT, String(this.stated));
    } catch { /* then it ends with the page */ }
  }

  get perInch() {
    return this.stated ?? CSS_PER_INCH * devicePixelRatio;
  }

  /** Lengths of style sheets to the millimetre. */
  get perMm() {
    return this.perInch / MM_PER_INCH / devicePixelRatio;
  }

  get words() {
    const number = Number(this.perInch.toFixed(1));
    if (this.stated) return `True size by ${number} pixels to the inch, ${this.source}.`;
    return `True size by ${number} pixels to the inch, which is only what browsers assume: state your screen's number, or hold a card to it.`;
  }
}
