// Starts the page, and says why whenever there is no dashboard to see.

import { Link } from "./link.js";
import { OutputScanner, paperOf } from "./output.js";
import { signal } from "./sounds.js";
import { tab } from "./tab.js";
import { cellSize, fontSize, likelySize } from "./terminal_size.js";

const QUIT = 4001, REVOKED = 4003, MOVED = 4004, FAILED = 4005; // close codes, see the server
const AGAIN_MS = 1500, ANSWER_MS = 4000;
const DRAWN = 100; // any whole screen has at least so many letters

const notice = document.getElementById("notice");
const terminal = document.getElementById("terminal");
const shape = [window.innerWidth, window.innerHeight, window.devicePixelRatio];
let scanner = new OutputScanner(), drawn = 0, connected = false, over = false;

const link = new Link(likelySize(...shape), {
  open() {
    connected = true;
    scanner = new OutputScanner();
    drawn = 0;
  },
  output(bytes) {
    const { bells, letters } = scanner.feed(bytes);
    signal(bells);
    if (letters >= DRAWN) colourPage(paperOf(bytes, link.size.width * link.size.height));
    if (drawn < DRAWN && (drawn += letters) >= DRAWN) {
      link.sendSize();
      // The emulator draws in the next frame.
      requestAnimationFrame(() => requestAnimationFrame(uncover));
    }
  },
  size({ width }) {
    // The emulator's last column may end within a pixel, the rest of which would be black.
    const [cell] = cellSize(fontSize(...shape), window.devicePixelRatio);
    terminal.style.clipPath = `inset(0 calc(100% - ${cell * width}px) 0 0)`;
  },
  lost(code) {
    drawn = 0;
    if (code === QUIT) finish("You have left the dashboard. Press anywhere to open it again.");
    else if (code === MOVED) finish("The dashboard is open in another tab. Press anywhere to open it here.");
    else if (code === FAILED) finish("The dashboard has failed. Press anywhere to start it again.");
    else if (code === REVOKED) location.reload(); // brings the login page
    else {
      show(connected ? "Connection lost. Trying again." : "No connection. Trying again.");
      setTimeout(connect, AGAIN_MS);
    }
  },
});

function show(text) {
  notice.textContent = text;
  notice.hidden = false;
}

function uncover() {
  if (drawn < DRAWN) return; // lost meanwhile
  notice.hidden = true;
  document.querySelector("textarea")?.focus(); // keys work without a click first
}

function finish(text) {
  if (over) return;
  over = true;
  show(text);
  const again = () => location.reload();
  notice.addEventListener("click", again);
  document.addEventListener("keydown", again);
}

// Ask for a place, and connect once there is one.
async function connect() {
  if (over) return;
  try {
    const answer = await fetch(`state?tab=${tab}`, {
      cache: "no-store",
      signal: AbortSignal.timeout(ANSWER_MS),
    });
    if (answer.status === 403) { location.reload(); return; } // revoked: brings the login page
    const { free, most } = await answer.json();
    if (free > 0) { link.connect(); return; }
    show(`All ${most} places are taken. Waiting for one.`);
  } catch {
    show(connected ? "Connection lost. Trying again." : "No connection. Trying again.");
  }
  setTimeout(connect, AGAIN_MS);
}

// Load the terminal emulator, which is used unchanged. It would start at the window's load event;
// instead it is started once, when the font is there to be measured.
async function loadTerminal() {
  const size = fontSize(...shape);
  terminal.dataset.fontSize = size;
  terminal.dataset.sessionWebsocketUrl = "/ws";
  // Keep a tap from opening the on-screen keyboard.
  new MutationObserver(() => {
    for (const area of document.querySelectorAll("textarea")) area.inputMode = "none";
  }).observe(terminal, { childList: true, subtree: true });
  const font = document.fonts.load(`${size}px "Roboto Mono"`).catch(() => {});
  const start = await new Promise((resolve, reject) => {
    const script = document.createElement("script");
    script.src = "static/js/textual.js";
    script.onload = () => {
      resolve(window.onload);
      window.onload = null;
    };
    script.onerror = reject;
    document.body.append(script);
  });
  await font;
  start();
}

connect();
loadTerminal().catch(() => finish("The page could not be loaded. Press anywhere to try again."));
