// What a dashboard's output tells: bells, whether anything was drawn, and the background.

const BELL = 0x07, ESCAPE = 0x1b, SPACE = 0x20;

// Counts, byte by byte, what is outside escape sequences (ECMA-48). Within a control string (OSC,
// DCS, SOS, PM, APC) a bell is not rung: xterm lets it end the string.
export class OutputScanner {
  #state = "text";

  // Return the number of bells and of letters (not spaces) in the next bytes.
  feed(bytes) {
    let bells = 0, letters = 0;
    for (const byte of bytes) {
      if (byte === ESCAPE) this.#state = "escape";
      else if (this.#state === "text") {
        if (byte === BELL) bells += 1;
        else if ((byte > SPACE && byte < 0x7f) || byte >= 0xc0) letters += 1; // UTF-8: first bytes
      } else if (this.#state === "string") {
        if (byte === BELL) this.#state = "text";
      } else if (byte === BELL) bells += 1; // a control within a sequence acts at once
      else if (this.#state === "control") {
        if (byte >= 0x40 && byte <= 0x7e) this.#state = "text";
      } else if (byte === 0x5b) this.#state = "control"; // [
      else if ("]PX^_".includes(String.fromCharCode(byte))) this.#state = "string";
      else if (byte >= 0x30) this.#state = "text"; // the last byte of a short sequence
    }
    return { bells, letters };
  }
}

// Return the background (#rrggbb) of more than half of a screen of `cells` cells, or null.
export function paperOf(bytes, cells) {
  const text = new TextDecoder().decode(bytes);
  const counts = new Map();
  let paper = null;
  for (const [, style, drawn] of text.matchAll(/(?:\x1b\[([\d;]*)m|\x1b\[[^@-~]*[@-~])?([^\x1b]*)/g)) {
    if (style !== undefined) {
      const colour = /(?:^|;)48;2;(\d+);(\d+);(\d+)/.exec(style);
      if (colour) paper = "#" + colour.slice(1).map((one) => (+one & 255).toString(16).padStart(2, "0")).join("");
      else if (/(^|;)(0|49)?$/.test(style) || style.startsWith("0;")) paper = null;
    }
    if (paper) counts.set(paper, (counts.get(paper) ?? 0) + drawn.replace(/[\r\n]/g, "").length);
  }
  for (const [colour, count] of counts) if (count > cells / 2) return colour;
  return null;
}
