// The page's own colours: its margins and notices match the dashboard from the first paint.
"use strict";
const PAPER_KEY = "paper";

// Colour the page; `paper` is #rrggbb, anything else is ignored.
function colourPage(paper) {
  if (!/^#[0-9a-f]{6}$/.test(paper)) return;
  const [red, green, blue] = [1, 3, 5].map((at) => parseInt(paper.slice(at, at + 2), 16));
  const isDark = 0.2126 * red + 0.7152 * green + 0.0722 * blue < 128;
  document.documentElement.style.setProperty("--paper", paper);
  document.documentElement.style.setProperty("--ink", isDark ? "#d7d7af" : "#000");
  try { localStorage.setItem(PAPER_KEY, paper); } catch { /* storage is switched off */ }
}

try { colourPage(localStorage.getItem(PAPER_KEY)); } catch { /* storage is switched off */ }
