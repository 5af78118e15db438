// A still of all stones with what it shows written below, as a PNG.

/** Draw canvases side by side with lines of text below; returns a canvas. */
export function sheet(pictures, names, lines, colors, scale) {
  const side = Math.max(...pictures.map((one) => one.width));
  const size = Math.max(11, Math.round(side / 34));
  const gap = Math.round(size * 0.8);
  const drawn = document.createElement("canvas");
  const ink = drawn.getContext("2d");
  const width = pictures.length * side + (pictures.length + 1) * gap;
  ink.font = `${size}px sans-serif`;
  const wrapped = lines.flatMap((line) => wrap(ink, line, width - 2 * gap));
  drawn.width = width;
  drawn.height = side + 3 * gap + Math.round(1.35 * size * (wrapped.length + 1));
  ink.fillStyle = colors.paper;
  ink.fillRect(0, 0, drawn.width, drawn.height);
  ink.fillStyle = ink.strokeStyle = colors.ink;
  ink.textBaseline = "top";
  pictures.forEach((picture, k) => {
    const x = gap + k * (side + gap);
    ink.drawImage(picture, x, gap, side, side);
    ink.font = `600 ${size}px sans-serif`;
    ink.fillText(names[k], x, side + 1.6 * gap, side);
    const long = scale.share * side;
    ink.fillRect(x + side - long - gap, gap + side - gap, long, Math.max(2, size / 6));
    ink.font = `${size}px sans-serif`;
    ink.fillText(`${scale.length} mm`, x + side - long - gap, gap + side - gap - 1.3 * size);
  });
  wrapped.forEach((line, k) => ink.fillText(line, gap, side + 2 * gap + 1.35 * size * (k + 1)));
  return drawn;
}

function wrap(ink, text, width) {
  const lines = [];
  for (const word of text.split(" ")) {
    const longer = lines.length ? `${lines.at(-1)} ${word}` : word;
    if (lines.length && ink.measureText(longer).width <= width) lines[lines.length - 1] = longer;
    else lines.push(word);
  }
  return lines;
}

export function save(canvas, name) {
  canvas.toBlob((blob) => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
  }, "image/png");
}
