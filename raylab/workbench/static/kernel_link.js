// The link of a page within a notebook: the same questions and answers, as messages of a widget's model to its kernel.

import { unpack } from "./link.js";

export class KernelLink {
  /** As `Link`; a model may have several views, so each message carries the name of its view. */
  constructor(model, onAnswer, onOpen, onState) {
    this.model = model;
    this.view = `${Date.now().toString(36)}-${Math.random().toString(36).slice(2)}`;
    this.hear = (message, buffers) => {
      if (message.view !== this.view) return;
      const { header, arrays } = unpack(whole(buffers[0]));
      onAnswer(header, arrays);
    };
    model.on("msg:custom", this.hear);
    queueMicrotask(() => { // whoever opens the link holds it by then
      onState("open");
      onOpen();
    });
  }

  ask(question) {
    this.model.send({ view: this.view, question: JSON.stringify(question) });
  }

  close() {
    this.model.off("msg:custom", this.hear);
    this.model.send({ view: this.view, left: true });
  }
}

/** The bytes of a message as a buffer of their own: a view may begin anywhere in a larger one. */
function whole(part) {
  return ArrayBuffer.isView(part) ? part.buffer.slice(part.byteOffset, part.byteOffset + part.byteLength) : part;
}
