// The link to the server. The terminal emulator sees one websocket that stays open, while beneath it
// websockets come and go.

import { tab } from "./tab.js";

const PING_MS = 2000, SILENT_MS = 6000; // a link silent for that long is lost
const EARLY_MOST = 1000; // messages kept until the emulator has been loaded
const PING = JSON.stringify(["ping", "link"]), PONG = JSON.stringify(["pong", "link"]);
const PlainWebSocket = window.WebSocket;

export class Link extends EventTarget {
  #socket = null;
  #early = []; // what came before the emulator was loaded; null once it is
  #size;
  #started; // the size when the websocket was opened
  #askedAt = 0; // since when an answer has been awaited [ms]; 0 while none is
  #on;

  // size: columns and rows to start with; on: the callbacks `open`, `size`, `output` (bytes) and
  // `lost` (the websocket's close code, 0 for silence).
  constructor(size, on) {
    super();
    this.#size = size;
    this.#on = on;
    setInterval(() => this.#check(), PING_MS);
    const link = this;
    window.WebSocket = function () {
      queueMicrotask(() => link.#taken()); // the emulator adds its listeners first
      return link;
    };
  }

  get size() { return this.#size; }

  // Resend the size if it changed: a dashboard that was just starting may have missed it.
  sendSize() {
    const { width, height } = this.#started;
    if (width !== this.#size.width || height !== this.#size.height) {
      this.send(JSON.stringify(["resize", this.#size]));
    }
  }

  // Open a websocket; the server finds this tab's dashboard by the tab's name.
  connect() {
    const { width, height } = this.#started = this.#size;
    const scheme = location.protocol === "https:" ? "wss://" : "ws://";
    const socket = new PlainWebSocket(
      `${scheme}${location.host}/ws?tab=${tab}&width=${width}&height=${height}`);
    socket.binaryType = "arraybuffer";
    this.#socket = socket;
    this.#askedAt = Date.now();
    socket.onopen = () => {
      this.#askedAt = 0;
      this.#on.open();
      if (this.#early === null) this.dispatchEvent(new Event("open")); // it sends its size
    };
    socket.onmessage = ({ data }) => {
      this.#askedAt = 0;
      if (data === PONG) return;
      if (this.#early === null) this.#give(data);
      else if (this.#early.length < EARLY_MOST) this.#early.push(data);
    };
    socket.onclose = ({ code }) => this.#lost(code);
  }

  // Called by the emulator; what is typed while the link is lost is dropped.
  send(text) {
    if (text.startsWith('["resize"')) {
      this.#size = JSON.parse(text)[1];
      this.#on.size(this.#size);
    }
    if (this.#socket?.readyState === PlainWebSocket.OPEN) this.#socket.send(text);
  }

  #taken() {
    const early = this.#early ?? [];
    this.#early = null;
    if (this.#socket?.readyState === PlainWebSocket.OPEN) this.dispatchEvent(new Event("open"));
    for (const data of early) this.#give(data);
  }

  #give(data) {
    this.dispatchEvent(new MessageEvent("message", { data }));
    if (typeof data !== "string") this.#on.output(new Uint8Array(data));
  }

  #check() {
    if (this.#socket === null) return;
    if (this.#askedAt === 0) {
      this.#askedAt = Date.now();
      this.send(PING);
    } else if (Date.now() - this.#askedAt > SILENT_MS) this.#lost(0);
  }

  #lost(code) {
    const socket = this.#socket;
    this.#socket = null;
    socket.onopen = socket.onmessage = socket.onclose = null;
    socket.close();
    if (this.#early !== null) this.#early = [];
    this.#on.lost(code);
  }
}
