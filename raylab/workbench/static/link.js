// The connection to raylab on this machine: questions out, answers in; it reconnects after an interruption or a restart.

const FIRST_WAIT_MS = 200;
const LONGEST_WAIT_MS = 2000;

/** An answer's header and arrays; see raylab/workbench/messages.py for the layout. */
export function unpack(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const arrays = {};
  for (const part of header.arrays) {
    const Kind = part.kind === "float32" ? Float32Array : Int32Array;
    arrays[part.name] = new Kind(buffer, 4 + length + part.at, part.shape.reduce((a, b) => a * b, 1));
    arrays[part.name].side = part.shape[0];
  }
  return { header, arrays };
}

export class Link {
  /** `onAnswer(header, arrays)` for each answer, `onOpen()` whenever the link stands (again), `onState(word)`. */
  constructor(onAnswer, onOpen, onState) {
    Object.assign(this, { onAnswer, onOpen, onState, wait: FIRST_WAIT_MS, socket: null });
    this.connect();
  }

  connect() {
    const socket = new WebSocket(`ws://${location.host}${location.pathname}link`);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => {
      this.wait = FIRST_WAIT_MS;
      this.onState("open");
      this.onOpen();
    };
    socket.onmessage = (event) => {
      const { header, arrays } = unpack(event.data);
      this.onAnswer(header, arrays);
    };
    socket.onclose = () => {
      if (socket !== this.socket) return;
      this.onState("cut");
      setTimeout(() => this.connect(), this.wait);
      this.wait = Math.min(2 * this.wait, LONGEST_WAIT_MS);
    };
    this.socket = socket;
  }

  /** Send a question if the link is open; `onOpen` repeats questions that are lost with the link. */
  ask(question) {
    if (this.socket.readyState === WebSocket.OPEN) this.socket.send(JSON.stringify(question));
  }
}
