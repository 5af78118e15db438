// What belongs to maps in colour: their exposure, and a film of the stone as it rocks. Shown while a map is in colour.

import { COLOR, bytes, made } from "./color_maps.js";
import { el, slider } from "./controls.js";
import { LIVE } from "./live_maps.js";

export function buildColorControls(workbench, root, complain) {
  const exposure = slider({ key: "exposure", label: "Exposure of the colours", unit: "×", spoken: "times", low: 1, high: 12, step: 0.5, least: 0.01, most: 1000 },
    (value, rested) => workbench.look({ exposure: value }, rested));
  const button = el("button", { type: "button", title: "A film in colour of the stone as it rocks" }, "Film…");
  const box = el("div", { id: "color-controls" }, exposure.element, el("div", { className: "row" },
    el("span", { className: "note" }, "A film of the stone as it rocks; half a minute where nothing else is computed."), button));
  button.addEventListener("click", () => filmWindow(workbench, complain));
  root.append(box);
  const show = () => {
    box.hidden = ![COLOR, LIVE].some(({ name }) => workbench.state.maps.includes(name));
    exposure.show(workbench.state.exposure ?? 1);
  };
  workbench.addEventListener("change", show);
  show();
}

/** A window that makes the film, shows it and offers it as a file; closing it ends the work. */
async function filmWindow(workbench, complain) {
  const { editing, titles, exposure = 1 } = workbench.state;
  const share = el("progress", { max: 1, value: 0, ariaLabel: "Progress of the film" });
  const leave = el("button", { type: "button" }, "Close");
  const stage = el("div", {}, share);
  const box = el("dialog", { className: "film", ariaLabel: "Film" }, el("h2", {}, `Film of ${titles[editing] || workbench.design.name}`), stage,
    el("div", { className: "buttons" }, leave));
  const stop = new AbortController();
  let address = "";
  leave.addEventListener("click", () => box.close());
  box.addEventListener("close", () => {
    stop.abort();
    URL.revokeObjectURL(address);
    box.remove();
  });
  document.body.append(box);
  box.showModal();
  const found = await made("film", { ...workbench.scene(editing), exposure }, stop.signal, (done) => { share.value = done; })
    .catch((error) => ({ error: { text: error.message } }));
  if (stop.signal.aborted) return;
  if (found.error) {
    box.close();
    complain(found.error);
    return;
  }
  address = URL.createObjectURL(new Blob([bytes(found.webp)], { type: "image/webp" }));
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches; // then nothing moves on the page
  stage.replaceChildren(
    still ? el("p", { className: "note" }, "The film is ready; this system asks for reduced motion, so it isn't played here.")
      : el("img", { src: address, alt: `The stone in colour, rocking by ${found.degrees} degrees to either side` }),
    el("p", {}, el("a", { href: address, download: found.name }, "Save the film (WebP)")));
}
