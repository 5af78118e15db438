// Mouse, finger, keys and buttons, and what the page says beside the pictures.

import { about, rotationOf, times } from "./pose.js";
import { CARD_MM } from "./screen.js";
import { save, sheet } from "./still.js";
import { bytesOf } from "./tracer.js";
import { ENTRIES, lightInWords, percent, poseInWords, scaleLength } from "./words.js";

const DEGREES_PER_WIDTH = 110;
const STEP_DEG = 2;
const HELD_RADIUS_DEG = 4;
const BELOW = { tilt: 180, azimuth: 90, turn: 0 };

export function listen(live) {
  const find = (name) => live.root.querySelector(`[data-${name}]`);
  const turn = (axis, degrees) => {
    if (live.rocks) live.rest();
    live.turnTo(times(about(axis, degrees), live.state.turn));
  };
  const set = (changes, traced) => {
    Object.assign(live.state, changes);
    if (traced) live.changed();
    else live.redraw();
  };
  listenToHands(live, turn);
  listenToKeys(live, turn, set, find);
  const [light, shown, exposure, far] = ["light", "shown", "exposure", "far"].map(find);
  light.addEventListener("change", () => set({ dome: light.selectedIndex }, true));
  shown.addEventListener("change", () => set({ map: shown.selectedIndex - 1 }, false));
  exposure.addEventListener("input", () => set({ exposure: 2 ** Number(exposure.value) }, false));
  far.addEventListener("change", () => set({ distance: Number(far.value) || null }, true));
  listenToScreen(live, set, find);
  find("rock").addEventListener("click", () => live.rest(!live.rocks));
  find("face-up").addEventListener("click", () => faceUp(live));
  find("below").addEventListener("click", () => {
    live.rest();
    live.turnTo(rotationOf(BELOW));
  });
  find("held").addEventListener("change", (event) => {
    live.lamp = event.target.checked ? lampAt(0.3, 0.3) : null;
    live.changed();
  });
  find("save").addEventListener("click", () => saveStill(live, find));
  find("copy").hidden = window.parent !== window; // a page within a page has no address to share
  find("copy").addEventListener("click", async () => {
    history.replaceState(null, "", live.link);
    await navigator.clipboard?.writeText(location.href).catch(() => {});
    find("said").textContent = "The address now holds this pose.";
  });
  find("counted").addEventListener("change", (event) => live.root.classList.toggle("counted", event.target.checked));
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const ground = () => {
    live.backdrop = dark.matches ? 0.03 : 0.32;
    live.redraw();
  };
  dark.addEventListener("change", ground);
  ground();
  live.tell = teller(live, find);
  live.tell();
}

function faceUp(live) {
  live.rest();
  live.state.zoom = 1;
  live.turnTo(rotationOf(live.data.view));
}

/** The size on the screen, and how many pixels the screen has: typed, or as a card says. */
function listenToScreen(live, set, find) {
  const [size, typed, card] = ["size", "per-inch", "card-width"].map(find);
  size.addEventListener("change", () => set({ size: Number(size.value) }, true));
  typed.addEventListener("change", () => take(Number(typed.value), "as typed"));
  card.addEventListener("input", () => take(2 ** Number(card.value), "as a card says"));
  const take = (perInch, source) => {
    typed.ariaInvalid = String(!live.screen.set(perInch, source));
    live.screen.keep();
    live.changed();
  };
}

/** What is known of the screen, where it is needed. */
function showScreen({ state, screen }, find) {
  find("size").value = String(state.size);
  find("screen").hidden = !state.size;
  if (document.activeElement !== find("per-inch")) find("per-inch").value = Number(screen.perInch.toFixed(1));
  find("card-width").value = Math.log2(screen.perInch);
  find("card").style.width = `${CARD_MM * screen.perMm}px`;
  find("screen-said").textContent = screen.words;
}

/** A pointer that drags turns the stones, about its own place with Shift; with the held lamp it carries the lamp. */
function listenToHands(live, turn) {
  const held = new Map();
  for (const { canvas } of live.pictures) {
    const at = (event) => {
      const box = canvas.getBoundingClientRect();
      return [(2 * (event.clientX - box.left)) / box.width - 1, 1 - (2 * (event.clientY - box.top)) / box.height];
    };
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      held.set(event.pointerId, at(event));
    });
    canvas.addEventListener("pointermove", (event) => {
      const [x, y] = at(event);
      const last = held.get(event.pointerId);
      if (live.lamp && (last || event.pointerType === "mouse")) {
        live.lamp = lampAt(x, y);
        live.changed();
        return;
      }
      if (!last) return;
      held.set(event.pointerId, [x, y]);
      const [dx, dy] = [x - last[0], y - last[1]];
      if (event.shiftKey) turn([0, 0, 1], (Math.atan2(last[0] * y - last[1] * x, last[0] * x + last[1] * y) * 180) / Math.PI);
      else if (dx || dy) turn([-dy / Math.hypot(dx, dy), dx / Math.hypot(dx, dy), 0], (Math.hypot(dx, dy) * DEGREES_PER_WIDTH) / 2);
    });
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, (event) => held.delete(event.pointerId));
  }
}

function listenToKeys(live, turn, set, find) {
  const magnify = (by) => set({ zoom: Math.min(8, Math.max(1, (by * live.filled) / live.half)), size: 0 }, true);
  const keys = {
    ArrowLeft: () => turn([0, 1, 0], -STEP_DEG), ArrowRight: () => turn([0, 1, 0], STEP_DEG),
    ArrowUp: () => turn([1, 0, 0], -STEP_DEG), ArrowDown: () => turn([1, 0, 0], STEP_DEG),
    "[": () => turn([0, 0, 1], STEP_DEG), "]": () => turn([0, 0, 1], -STEP_DEG),
    "+": () => magnify(1.15), "-": () => magnify(1 / 1.15),
    Home: () => faceUp(live), " ": () => find("rock").click(),
  };
  keys["="] = keys["+"];
  find("stones").addEventListener("keydown", (event) => {
    if (!keys[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    keys[event.key]();
  });
}

/** A round lamp seen from above at a place of the picture, -1 to 1: its direction, the cosine of its radius, its radiance. */
function lampAt(x, y) {
  const far = Math.min(Math.hypot(x, y), 0.999);
  const along = Math.hypot(x, y) || 1;
  return [(x / along) * far, (y / along) * far, Math.sqrt(1 - far * far), Math.cos((HELD_RADIUS_DEG * Math.PI) / 180), 1];
}

/** The colours of a map from one end to the other, with the numbers at the ends. */
function legend(live, find) {
  const map = live.data.maps[live.state.map];
  const key = find("legend");
  key.style.visibility = map ? "visible" : "hidden";
  if (!map) return;
  const colors = bytesOf(map.colors);
  const stops = Array.from({ length: 16 }, (_, k) => `rgb(${colors.slice(51 * k, 51 * k + 3).join(",")})`);
  key.firstElementChild.style.background = `linear-gradient(90deg, ${stops.join(",")})`;
  const [low, high] = live.look(live.pictures[0]).map.range;
  key.lastElementChild.textContent = `${map.title} from ${low} to ${Number(high.toPrecision(2))}${high === 1 && map.name !== "contrast" ? "" : " or more"}`;
}

/** A function that writes beside the pictures what they show; `frame` is how long the last frame took and its side. */
function teller(live, find) {
  const { root, data } = live;
  let saidAt = 0;
  return (frame) => {
    const { state } = live;
    find("light").selectedIndex = state.dome;
    find("shown").selectedIndex = state.map + 1;
    find("exposure").value = Math.log2(state.exposure);
    find("exposure-said").textContent = `${Number(state.exposure.toPrecision(3))} ×`;
    legend(live, find);
    find("far").value = String(state.distance ?? 0);
    find("about-light").textContent = [data.domes[state.dome].about, data.domes[state.dome].scaled].filter(Boolean).join(" ");
    find("rock").textContent = live.rocks ? "Pause" : "Rock";
    showScreen(live, find);
    find("pose").textContent = poseInWords(live.angles);
    const across = 2 * live.half;
    for (const scale of root.querySelectorAll("[data-scale]")) {
      const length = scaleLength(across);
      scale.firstElementChild.style.width = `${(100 * length) / across}%`;
      scale.lastElementChild.textContent = `${length} mm`;
    }
    root.querySelectorAll("[data-stone]").forEach((figure, k) => bar(figure, live.means[k]));
    if (frame) {
      const untraced = Math.max(...live.means.map((means) => means?.untraced ?? 0));
      find("count").textContent = `${frame.side} pixels a side; ${live.rocks || !live.pictures[0].frames ? "moving or new" : `${live.pictures[0].frames} frames`}; ${Math.round(frame.took)} ms; untraced up to ${percent(untraced)}`;
    }
    const now = performance.now();
    if (live.done && live.means.every(Boolean) && now - saidAt > 1000) {
      saidAt = now;
      const light = data.domes[state.dome].name;
      const words = data.stones.map((stone, k) => lightInWords(stone.name, live.means[k])).join(" ");
      find("said").textContent = `Seen ${poseInWords(live.angles)} under the light "${light}". ${words}`;
    }
  };
}

/** The ledger as a bar whose parts have the widths of its entries, with each in words. */
function bar(figure, means) {
  if (!means) return;
  for (const [key, words] of ENTRIES) {
    const part = figure.querySelector(`[data-part="${key}"]`);
    part.style.flexGrow = String(Math.max(means[key], 0));
    part.title = `${words} ${percent(means[key])}`;
  }
  const shares = ENTRIES.filter(([key]) => means[key] >= 0.0005).map(([key, words]) => `${words} ${percent(means[key])}`);
  figure.querySelector("[data-shares]").textContent = `about: ${shares.join(", ")}`;
}

function saveStill(live, find) {
  const { data, state } = live;
  const dome = data.domes[state.dome];
  const map = data.maps[state.map];
  const lines = [
    `${poseInWords(live.angles)}; light "${dome.name}": ${dome.about} ${dome.scaled}`.trim(),
    `${map ? `${map.title}: ${map.definition}` : `in colour under ${data.light.name}`}, exposure ${Number(state.exposure.toPrecision(3))}; ${live.pictures[0].frames || "few"} frames of one wavelength each; ${state.distance ? `eye at ${state.distance} mm` : "seen from far away"}.`,
    `raylab ${data.version}, traced live; no grade and no valuation.`,
  ];
  live.redraw();
  const { color, backgroundColor } = getComputedStyle(document.body);
  const scale = { length: scaleLength(2 * live.half), share: scaleLength(2 * live.half) / (2 * live.half) };
  const drawn = sheet(live.pictures.map((one) => one.canvas), data.stones.map((one) => one.name), lines, { ink: color, paper: backgroundColor }, scale);
  save(drawn, "stones.png");
  find("said").textContent = "The still was saved.";
}
